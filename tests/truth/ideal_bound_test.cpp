// The bound's shortcuts (Legendre polynomials, factors for bends along the rim) against least squares carried out.
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

}  // namespace
}  // namespace rimwright
