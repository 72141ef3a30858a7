// Which strip of the bevel its edge is read from, on fits made by hand.
#include "measure/edge_strips.h"

#include <gtest/gtest.h>

#include <cmath>

namespace rimwright {
namespace {

constexpr double u_mm = 0.01;  // of each fit's height

FaceFits strip(double a_mm, double q, double noise_mm) {
  FaceFit fit;
  fit.measured = true;
  fit.from_t_mm = 0.0, fit.to_t_mm = 4.0, fit.t0_mm = 2.0, fit.margin_mm = 1.0;
  fit.a_mm = a_mm, fit.q = q;
  fit.variance_a = u_mm * u_mm;
  fit.noise_mm = noise_mm, fit.degrees_of_freedom = 2000.0;
  FaceFits fits;
  fits.at = {fit};
  return fits;
}

TEST(TangentAt, FollowsTheParabolaAndItsVariance) {
  FaceFit fit = strip(1.0, 0.5, 0.05).at[0];
  fit.b = 0.2, fit.variance_b = 4e-6, fit.variance_q = 1e-6;
  const FaceFit tangent = tangent_at(fit, 5.0);  // 3 mm from t0
  EXPECT_DOUBLE_EQ(tangent.a_mm, 1.0 + 0.2 * 3.0 + 0.5 * 9.0);
  EXPECT_DOUBLE_EQ(tangent.b, 0.2 + 2.0 * 0.5 * 3.0);
  EXPECT_DOUBLE_EQ(tangent.variance_a, 1e-4 + 9.0 * 4e-6 + 81.0 * 1e-6);
}

TEST(BendDoubt, IsWhatTheParabolaRisesByTheBendItHasTooMuch) {
  const FaceFit bent = strip(0.0, 0.010, 0.05).at[0];  // from 0 to 4, its middle at 2
  EXPECT_NEAR(bend_doubt_mm(bent, 4.0, 5.0, 0.004), 0.006 * (3.0 * 3.0 - 2.0 * 2.0), 1e-12);
  EXPECT_NEAR(bend_doubt_mm(bent, 0.0, -1.0, 0.004), 0.006 * (3.0 * 3.0 - 2.0 * 2.0), 1e-12);
  EXPECT_EQ(bend_doubt_mm(bent, 4.0, 5.0, 0.010), 0.0);  // no more than faces have
  EXPECT_EQ(bend_doubt_mm(bent, 4.0, 3.5, 0.004), 0.0);  // not carried on
}

TEST(PreferShort, OnlyWhereTheTwoPartBeyondChance) {
  // Three standard uncertainties of the difference of two heights.
  const double by_chance = 3.0 * std::sqrt(2.0) * u_mm;
  for (const double apart_mm : {0.5 * by_chance, 2.0 * by_chance}) {
    FaceFits longer = strip(0.0, 0.0, 0.05);
    prefer_short_where_long_misfits(longer, strip(apart_mm, 0.0, 0.05), &FaceFit::from_t_mm, -1.0);
    const bool parts = apart_mm > by_chance;
    EXPECT_DOUBLE_EQ(longer.at[0].a_mm, parts ? apart_mm : 0.0);
    EXPECT_DOUBLE_EQ(longer.at[0].form_u_mm, parts ? apart_mm : 0.0);  // what the form is not known by
  }
}

TEST(PreferShort, TheyAreComparedAtTheEdgeItself) {
  // Alike in the middle; at the lower edge (t = -1) the parabola stands 0.01 (-1 - 2)^2 = 0.09 mm higher.
  FaceFits longer = strip(0.0, 0.01, 0.05);
  prefer_short_where_long_misfits(longer, strip(0.0, 0.0, 0.05), &FaceFit::from_t_mm, -1.0);
  EXPECT_NEAR(longer.at[0].form_u_mm, 0.09, 1e-12);
  EXPECT_EQ(longer.at[0].q, 0.0);
}

// Held straight, a fit is what least squares without the bend gives: here by hand, on points -1, 0 and 1 with heights
// 0, 0 and 3, whose parabola is 1.5 t + 1.5 t^2 and whose line is 1 + 1.5 t.
TEST(Straightened, IsLeastSquaresWithoutTheBend) {
  FaceFit fit;
  fit.a_mm = 0.0, fit.b = 1.5, fit.q = 1.5;
  // Inverse of the normal matrix of 1, t, t^2 on these points.
  fit.variance_a = 1.0, fit.covariance_aq = -1.0, fit.variance_q = 1.5, fit.variance_b = 0.5;
  fit.bend_share = 1.0;
  const FaceFit straight = straightened(fit);
  EXPECT_DOUBLE_EQ(straight.a_mm, 1.0);
  EXPECT_DOUBLE_EQ(straight.b, 1.5);
  EXPECT_DOUBLE_EQ(straight.variance_a, 1.0 / 3.0);
  EXPECT_DOUBLE_EQ(straight.variance_b, 0.5);
  EXPECT_EQ(straight.q, 0.0);
}

FaceFits bent_strip(double q, double u_of_q) {
  FaceFits fits = strip(0.0, q, 0.05);
  FaceFit& fit = fits.at[0];
  fit.variance_q = u_of_q * u_of_q;
  fit.bend_share = 1.0;
  return fits;
}

// The edge lies 3 mm from the middle: where the shorter strip's own parabola says what the longer one says, it stays.
TEST(PreferShort, ACrownKeepsTheLongerStrip) {
  FaceFits longer = strip(0.0, 0.02, 0.05);
  prefer_short_where_long_misfits(longer, bent_strip(0.019, 0.001), &FaceFit::from_t_mm, -1.0);
  EXPECT_DOUBLE_EQ(longer.at[0].q, 0.02);
  EXPECT_NEAR(longer.at[0].form_u_mm, 9.0 * 0.001, 1e-12);
}

// Where it scatters, the shorter one takes its place: bent where its points say so beyond chance, straight otherwise.
TEST(PreferShort, TheShorterOneBendsOnlyBeyondChance) {
  for (const double u_of_q : {0.002, 0.02}) {
    FaceFits longer = strip(0.0, 0.1, 0.08);
    prefer_short_where_long_misfits(longer, bent_strip(0.019, u_of_q), &FaceFit::from_t_mm, -1.0);
    EXPECT_EQ(longer.at[0].q, u_of_q < 0.019 / 3.0 ? 0.019 : 0.0) << u_of_q;
  }
}

TEST(PreferShort, WhereTheLongerOneScattersMore) {
  // 2000 degrees of freedom each: the ratio of two standard deviations is sure to sqrt(1 / 4000 + 1 / 4000) = 2.2 %.
  for (const double noise_mm : {0.052, 0.056}) {
    FaceFits longer = strip(0.0, 0.0, noise_mm);
    prefer_short_where_long_misfits(longer, strip(0.001, 0.0, 0.05), &FaceFit::to_t_mm, 1.0);
    EXPECT_EQ(longer.at[0].a_mm, noise_mm > 0.05 * (1.0 + 3.0 * 0.0224) ? 0.001 : 0.0) << noise_mm;
  }
}

}  // namespace
}  // namespace rimwright
