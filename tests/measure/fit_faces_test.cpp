// Fits of known faces with known noise: no bias, and the variance that closed form and the spread of many fits give.
#include "measure/fit_faces.h"

#include <gtest/gtest.h>

#include <cmath>

#include "made_rim.h"

namespace rimwright {
namespace {

constexpr double drop_mm = 14.0, angle_deg = 124.0, length_mm = 60.0;

test::Profile profile(double) { return test::bevelled_profile(drop_mm, angle_deg); }

FittedRim fitted(const UnrolledRim& rim, const FaceTracks& tracks, double noise_mm, std::size_t threads = 2) {
  Workers workers(threads);
  return fit_faces(rim, tracks, noise_mm, 0.0, {}, workers);
}

// Error of the fitted line square to the true facet, at the fit's own middle, and of its direction.
struct FitError {
  double offset = 0.0, slope = 0.0, u_offset = 0.0, u_slope = 0.0;
};
FitError error_of(const FaceFits& face, const FaceFit& fit, const Vector2& on_facet, const Vector2& facet_along) {
  const Vector2 normal(facet_along.y(), -facet_along.x());
  const Vector2 d = face.direction(fit);
  return {(face.point(fit, fit.t0_mm) - on_facet).dot(normal),
          std::asin(facet_along.x() * d.y() - facet_along.y() * d.x()), std::sqrt(fit.variance_a),
          std::sqrt(fit.variance_b)};
}

TEST(FitFaces, MeanAndVarianceOfABevel) {
  const FaceTracks tracks = test::bevelled_tracks(length_mm, profile);
  const Vector2 lower(0, -drop_mm), along = test::from_upright(180.0 - angle_deg);
  for (const double noise : {0.02, 0.08}) {
    double offset_squares = 0.0, slope_squares = 0.0, offset_sum = 0.0, slope_sum = 0.0;
    int fits = 0;
    for (unsigned seed = 1; seed <= 30; ++seed) {
      const UnrolledRim rim = test::made_rim(length_mm, profile, 6.0, noise, seed);
      const FittedRim result = fitted(rim, tracks, noise);
      const FaceFits* bevel = result.find(FaceName::bevel);
      ASSERT_NE(bevel, nullptr);
      for (const std::size_t i : {15u, 45u}) {  // 30 mm apart: windows that share no point
        const FaceFit& fit = bevel->at[i];
        ASSERT_TRUE(fit.measured);
        const FitError e = error_of(*bevel, fit, lower, along);
        offset_squares += std::pow(e.offset / e.u_offset, 2), slope_squares += std::pow(e.slope / e.u_slope, 2);
        offset_sum += e.offset / e.u_offset, slope_sum += e.slope / e.u_slope;
        ++fits;
        // Closed form, n points evenly over a width w: the slope of a line 12 s^2 / (n w^2), the mean s^2 / n; each a
        // parabola along the rim, whose value at the middle of the window costs 9/4 as much.
        const double width = std::abs(fit.to_t_mm - fit.from_t_mm);
        // Of n random places: second moments vary by 0.9 / sqrt(n), the parabola's 9/4 by about twice that, s^2 by
        // 1.4 / sqrt(n); together 2.6 / sqrt(n), of which four.
        const double scatter = 10.4 / std::sqrt(fit.points);
        EXPECT_NEAR(fit.variance_b / (2.25 * 12 * noise * noise / (fit.points * width * width)), 1.0, scatter);
        EXPECT_NEAR(fit.variance_a / (2.25 * noise * noise / fit.points), 1.0, scatter);
        EXPECT_NEAR(fit.noise_mm / noise, 1.0, 4 / std::sqrt(2 * fit.points));
        EXPECT_NEAR(fit.degrees_of_freedom, fit.points - 7, 1e-9);  // parameters of the window
      }
    }
    // The mean of n normalised squares is 1 with standard deviation sqrt(2 / n); their mean is 0 to 1 / sqrt(n).
    EXPECT_NEAR(offset_squares / fits, 1.0, 3.5 * std::sqrt(2.0 / fits)) << noise;
    EXPECT_NEAR(slope_squares / fits, 1.0, 3.5 * std::sqrt(2.0 / fits)) << noise;
    EXPECT_LT(std::abs(offset_sum / fits), 3.5 / std::sqrt(1.0 * fits)) << noise;
    EXPECT_LT(std::abs(slope_sum / fits), 3.5 / std::sqrt(1.0 * fits)) << noise;
  }
}

// Four times the points: half the standard uncertainty; twice the noise: twice of it. The quantities vary as they must.
TEST(FitFaces, UncertaintyFollowsNoiseAndCount) {
  const FaceTracks tracks = test::bevelled_tracks(length_mm, profile);
  const auto u_of = [&](double density, double noise) {
    const FittedRim result = fitted(test::made_rim(length_mm, profile, density, noise, 3), tracks, noise);
    return std::sqrt(result.find(FaceName::bevel)->at[30].variance_b);
  };
  const double here = u_of(5.0, 0.02);
  EXPECT_NEAR(u_of(20.0, 0.02) / here, 0.5, 0.05);
  EXPECT_NEAR(u_of(5.0, 0.04) / here, 2.0, 0.2);  // below the noise at which the window grows
}

TEST(FitFaces, FaceThatMovesAlongTheRimLeavesNoBias) {
  // A run-out: the drop falls from 14 mm by 0.05 mm a millimetre and bends.
  const auto moving = [](double s) { return test::bevelled_profile(14.0 - 0.05 * s - 0.0005 * s * s, angle_deg); };
  const FaceTracks tracks = test::bevelled_tracks(length_mm, moving);
  const double noise = 0.03;
  const Vector2 along = test::from_upright(180.0 - angle_deg);
  double sum = 0.0;
  int fits = 0;
  for (unsigned seed = 1; seed <= 20; ++seed) {
    const FittedRim result = fitted(test::made_rim(length_mm, moving, 10.0, noise, seed), tracks, noise);
    for (const std::size_t i : {15u, 45u}) {
      const FaceFits* bevel = result.find(FaceName::bevel);
      const double s = result.station_mm[i];
      const FitError e = error_of(*bevel, bevel->at[i], moving(s)[1], along);
      sum += e.offset / e.u_offset;
      ++fits;
    }
  }
  EXPECT_LT(std::abs(sum / fits), 3.5 / std::sqrt(1.0 * fits));
}

TEST(FitFaces, OutliersAreCutAndCounted) {
  const double noise = 0.03;
  const FaceTracks tracks = test::bevelled_tracks(length_mm, profile);
  UnrolledRim rim = test::made_rim(length_mm, profile, 10.0, noise, 5);
  for (std::size_t i = 0; i < rim.out_mm.size(); i += 50) rim.out_mm[i] -= 1.5F, rim.up_mm[i] -= 1.5F;  // 2 %
  const FittedRim result = fitted(rim, tracks, noise);
  const FaceFits* bevel = result.find(FaceName::bevel);
  const FaceFit& fit = bevel->at[30];
  ASSERT_TRUE(fit.measured);
  EXPECT_GT(fit.rejected, 0.005 * fit.points);
  const FitError e = error_of(*bevel, fit, {0, -drop_mm}, test::from_upright(180.0 - angle_deg));
  EXPECT_LT(std::abs(e.offset), 4 * e.u_offset);
  EXPECT_LT(std::abs(e.slope), 4 * e.u_slope);
}

TEST(FitFaces, NothingWithoutPoints) {
  const FaceTracks tracks = test::bevelled_tracks(length_mm, profile);
  const UnrolledRim rim = test::made_rim(length_mm, profile, 0.02, 0.03, 6);
  const FittedRim result = fitted(rim, tracks, 0.03);
  std::size_t without = 0;
  for (const FaceFit& fit : result.find(FaceName::bevel)->at) {
    without += !fit.measured;
    EXPECT_TRUE(!fit.measured || fit.points >= FitSettings{}.fewest_points);
  }
  EXPECT_GT(without, 0u);
}

TEST(FitFaces, SameForOneAndTwoThreads) {
  const UnrolledRim rim = test::made_rim(length_mm, profile, 6.0, 0.03, 7);
  const FaceTracks tracks = test::bevelled_tracks(length_mm, profile);
  const FittedRim a = fitted(rim, tracks, 0.03, 1), b = fitted(rim, tracks, 0.03, 2);
  for (std::size_t f = 0; f < a.faces.size(); ++f)
    for (std::size_t i = 0; i < a.station_mm.size(); ++i) {
      EXPECT_EQ(a.faces[f].at[i].a_mm, b.faces[f].at[i].a_mm);
      EXPECT_EQ(a.faces[f].at[i].variance_b, b.faces[f].at[i].variance_b);
    }
}

}  // namespace
}  // namespace rimwright
