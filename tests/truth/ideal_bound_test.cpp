// The bound against least squares over a grid of points, and in a run-out against what it must be.
#include "ideal_bound.h"

#include <gtest/gtest.h>

#include <Eigen/Cholesky>
#include <cmath>

namespace rimwright {
namespace {

// Variance, in units of the noise's, of the height at t (mm from the strip's middle) of a strip fitted with
// 1, t, s, s^2, t s, t s^2, t^2 over even points, when t^2's factor is known beforehand to known_bend_in_noise (its
// standard deviation over that of the noise).
double variance_of_strip(double t_mm, double width_mm, double half_window_mm, double density,
                         double known_bend_in_noise) {
  using Row = Eigen::Matrix<double, 7, 1>;
  Eigen::Matrix<double, 7, 7> normal = Eigen::Matrix<double, 7, 7>::Zero();
  const double apart = 1.0 / std::sqrt(density);
  const auto row = [](double t, double s) {
    Row r;
    r << 1.0, t, s, s * s, t * s, t * s * s, t * t;
    return r;
  };
  for (double t = -0.5 * (width_mm - apart); t < 0.5 * width_mm; t += apart)
    for (double s = -half_window_mm + 0.5 * apart; s < half_window_mm; s += apart)
      normal += row(t, s) * row(t, s).transpose();
  normal(6, 6) += 1.0 / (known_bend_in_noise * known_bend_in_noise);
  return row(t_mm, 0.0).dot(normal.ldlt().solve(row(t_mm, 0.0)));
}

// An upright side and a level top are far surer: what is left of the drop is the strip's end.
TEST(IdealBound, TheEdgeOfAStripByLeastSquares) {
  constexpr double density = 100.0, noise = 0.02, drop = 14.0, angle = 125.0;
  for (const double cut_mm : {0.0, 2.0}) {
    BodySpec spec;
    spec.outline.pieces.push_back({300.0, 1.0 / 300.0, 1.0 / 300.0});
    spec.bevel = BevelSpec{.angle_deg = angle, .drop_mm = drop, .from_mm = 20.0, .to_mm = 280.0};
    if (cut_mm > 0.0) spec.channels.push_back({"lower", BodyCorner::side_bevel, {{2.0, cut_mm}}, 0.0, 12.0});
    const auto body = Body::from(spec);
    ASSERT_TRUE(body);
    FitSettings settings;
    settings.side_depth_mm = settings.top_depth_mm = 4000.0;  // sure references
    const IdealStation ideal = ideal_bound(*body, 150.0, density, noise, settings);
    // The cut takes `cut` mm square to the side: so much of the bevel, over the sine of the angle between them.
    const double sine = std::sin(radians_from_degrees(180.0 - angle));
    const double face = drop / std::cos(radians_from_degrees(180.0 - angle)), gone = cut_mm / sine;
    const double strip = std::min(settings.edge_strip_mm, face - gone);
    const double variance = variance_of_strip(0.5 * strip + gone, strip, settings.bevel_window_mm, density,
                                              settings.usual_bend_per_mm / noise);
    // The edge slides down the side by the strip's height over that sine; side and top add a tenth at most.
    const double by_strip = noise * std::sqrt(variance) / sine;
    EXPECT_GE(ideal.drop_u_mm, 0.99 * by_strip) << cut_mm;
    EXPECT_LE(ideal.drop_u_mm, 1.1 * by_strip) << cut_mm;
  }
}

BodySpec with_a_bevel(double drop_mm) {
  BodySpec spec;
  spec.outline.pieces.push_back({300.0, 1.0 / 300.0, 1.0 / 300.0});
  spec.bevel = BevelSpec{.angle_deg = 125.0, .drop_mm = drop_mm, .from_mm = 20.0, .to_mm = 280.0};
  spec.bevel->start_run_out_mm = spec.bevel->end_run_out_mm = 40.0;
  return spec;
}

constexpr double density_per_mm2 = 20.0, noise_mm = 0.02;

double angle_u_deg(double drop_mm, double station_mm) {
  const auto body = Body::from(with_a_bevel(drop_mm));
  return ideal_bound(*body, station_mm, density_per_mm2, noise_mm, {}).angle_u_deg;
}

// Of even points over a rectangle: 12 s^2 / (n w^2) of the slope across, and 9/4 of that where it may drift as s^2.
TEST(IdealBound, TheAngleOfAnEvenBevel) {
  constexpr double drop_mm = 14.0;
  const double width_mm = drop_mm / std::cos(radians_from_degrees(55.0));
  const double points = density_per_mm2 * 2.0 * FitSettings{}.bevel_window_mm * width_mm;
  const double by_hand = degrees_from_radians(1.5 * std::sqrt(12.0 / points) * noise_mm / width_mm);
  EXPECT_GE(angle_u_deg(drop_mm, 150.0), 0.99 * by_hand);
  EXPECT_LE(angle_u_deg(drop_mm, 150.0), 1.05 * by_hand);  // the side is wider and its window longer: a fifth, squared
}

// What a window holds of a run-out holds the rectangle over its narrow end and is held by that over its wide end. More
// points of the same model never say less (Loewner order of the information).
TEST(IdealBound, TheAngleInARunOutLiesBetweenTwoEvenBevels) {
  const auto body = Body::from(with_a_bevel(14.0));
  ASSERT_TRUE(body);
  for (const double station_mm : {32.0, 40.0, 48.0}) {
    const double half_mm = FitSettings{}.bevel_window_mm;
    const double narrow_mm = body->section(station_mm - half_mm).drop_mm;
    const double wide_mm = body->section(station_mm + half_mm).drop_mm;
    ASSERT_GT(wide_mm, 1.2 * narrow_mm);
    const double there = angle_u_deg(14.0, station_mm);
    EXPECT_LT(there, angle_u_deg(narrow_mm, 150.0)) << station_mm;
    EXPECT_GT(there, angle_u_deg(wide_mm, 150.0)) << station_mm;
  }
}

}  // namespace
}  // namespace rimwright
