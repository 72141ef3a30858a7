// A window's fit on points that lie on the model exactly, and what it does where they do not suffice.
#include "measure/fit_window.h"

#include <gtest/gtest.h>

#include <cmath>
#include <cstdio>
#include <random>

namespace rimwright {
namespace {

constexpr double step_mm = 1.0;

// Slices of 21 points each across t = 0 .. 10, on y(t, s); s of a slice's middle.
std::vector<SliceMoments> slices_on(std::size_t count, std::size_t here, double (*y)(double t, double s)) {
  std::vector<SliceMoments> slices(count);
  for (std::size_t k = 0; k < count; ++k) {
    const double s = (static_cast<double>(k) - static_cast<double>(here)) * step_mm;
    for (int i = 0; i <= 20; ++i) slices[k].add(0.5 * i, y(0.5 * i, s), 1.0);
  }
  return slices;
}

TEST(FitWindow, FindsTheModelItself) {
  // About t0 = 5, the middle of the points.
  const auto slices = slices_on(9, 4, [](double t, double s) {
    return 1.0 + 0.1 * (t - 5) + 0.2 * s + 0.01 * s * s + 0.02 * (t - 5) * s + 0.003 * (t - 5) * (t - 5) +
           0.001 * (t - 5) * s * s;
  });
  const FaceFit fit = fit_window(slices, 4, step_mm, {.bends_across = true, .may_turn_unevenly = true});
  ASSERT_TRUE(fit.measured);
  // Damping of 1e-9 a term leaves a billionth of it.
  EXPECT_NEAR(fit.t0_mm, 5.0, 1e-9);
  EXPECT_NEAR(fit.a_mm, 1.0, 1e-6);
  EXPECT_NEAR(fit.b, 0.1, 1e-6);
  EXPECT_NEAR(fit.shift_along, 0.2, 1e-6);
  EXPECT_NEAR(fit.bend_along, 0.01, 1e-6);
  EXPECT_NEAR(fit.twist_along, 0.02, 1e-6);
  EXPECT_NEAR(fit.q, 0.003, 1e-6);
  EXPECT_LT(fit.noise_mm, 1e-4);
  EXPECT_EQ(fit.points, 9.0 * 21.0);
}

// The bend follows few noisy points in proportion to what they say of it (ridge regression: posterior mean of a normal
// prior), and many wholly.
TEST(FitWindow, AKnownBendKeepsPointsThatSayLittleFromBending) {
  const auto slices = slices_on(9, 4, [](double t, double) { return 0.003 * (t - 5) * (t - 5); });
  const double squares = 9.0 * 22432.6667 / 16.0;  // sum of (t^2 - mean)^2 over 9 slices of t = -5, -4.5 .. 5: by hand
  for (const double noise_mm : {1e-3, 0.2}) {
    const FaceFit fit =
        fit_window(slices, 4, step_mm, {.bends_across = true, .known_bend = KnownBend{0.004, noise_mm}});
    const double share = squares / (squares + std::pow(noise_mm / 0.004, 2));
    EXPECT_NEAR(fit.q, 0.003 * share, 1e-6) << noise_mm;
  }
}

TEST(FitWindow, NeverBeyondItsPoints) {
  auto slices = slices_on(9, 4, [](double, double) { return 1.0; });
  for (std::size_t k = 4; k < 9; ++k) slices[k] = {};  // nothing at or after the station
  EXPECT_FALSE(fit_window(slices, 4, step_mm, {}).measured);
  EXPECT_TRUE(fit_window(slices, 3, step_mm, {}).measured);
  EXPECT_FALSE(fit_window(slices, 3, step_mm, {.fewest_points = 100.0}).measured);
}

TEST(FitWindow, AKnownSlopeHoldsWhatPointsCannot) {
  std::vector<SliceMoments> slices(3);
  for (SliceMoments& slice : slices)
    for (int i = 0; i < 4; ++i) slice.add(5.0, 2.0, 1.0);  // no width at all
  const FaceFit fit = fit_window(slices, 1, step_mm, {.known_slope = KnownSlope{0.3, 0.02, 0.01}});
  ASSERT_TRUE(fit.measured);
  EXPECT_NEAR(fit.b, 0.3, 1e-3);
  EXPECT_NEAR(fit.a_mm, 2.0, 1e-6);
}

// A wall in a run-out: two points a slice, bent by 0.03 mm a square millimetre, which scatter by `scatter`.
FaceFit fit_of_wall(double bend, double scatter) {
  std::vector<SliceMoments> slices(9);
  for (int k = 0; k < 9; ++k) {
    const double s = (k - 4) * step_mm, sign = k % 2 == 0 ? 1.0 : -1.0;
    for (const double t : {-1.0, -0.5}) slices[static_cast<std::size_t>(k)].add(t, bend * s * s + sign * scatter, 1.0);
  }
  return fit_window(slices, 4, step_mm, {.known_slope = KnownSlope{0.0, 0.02, 0.01}});
}

TEST(FitWindow, FewPointsShowABendThatIsPlain) {
  const FaceFit bent = fit_of_wall(0.03, 0.005);
  EXPECT_NEAR(bent.a_mm, 0.0, 0.005);  // a straight fit is off by the mean of the bend, 0.2 mm
  EXPECT_NEAR(bent.bend_along, 0.03, 0.001);
  EXPECT_LT(bent.noise_mm, 0.01);
  // What could be chance is not followed.
  EXPECT_NEAR(fit_of_wall(0.0005, 0.02).bend_along, 0.0, 1e-4);
}

// White noise about a straight wall must not pass for a bend: by the F test's level, 0.1 % of windows of 27 points and
// 1 % of those of 10. Over 2000 windows 99.9 % of chance lies below 3 standard deviations more.
TEST(FitWindow, NoiseIsNoBend) {
  constexpr unsigned seed = 77;
  std::mt19937 dice(seed);
  std::normal_distribution<double> noise(0.0, 0.01);
  constexpr int trials = 2000;
  for (const auto& [points_a_slice, level] : {std::pair(3, 0.001), std::pair(2, 0.005)}) {
    int bent = 0;
    for (int trial = 0; trial < trials; ++trial) {
      std::vector<SliceMoments> slices(9);
      for (SliceMoments& slice : slices)
        for (int i = 0; i < points_a_slice; ++i) slice.add(-0.4 * (i + 1), noise(dice), 1.0);
      // Held back, a bend stays below a millionth of what the noise alone would make of it.
      const FaceFit fit = fit_window(slices, 4, step_mm, {.known_slope = KnownSlope{0.0, 0.02, 0.01}});
      bent += std::abs(fit.bend_along) > 1e-6 ? 1 : 0;
    }
    std::printf("%d points: %d of %d windows bend; seed %u\n", 9 * points_a_slice, bent, trials, seed);
    EXPECT_LE(bent, trials * level + 3.0 * std::sqrt(trials * level) + 1.0);
  }
}

}  // namespace
}  // namespace rimwright
