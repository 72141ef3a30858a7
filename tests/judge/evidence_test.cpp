#include "judge/evidence.h"

#include <gtest/gtest.h>

#include <cmath>
#include <random>

namespace rimwright {
namespace {

TEST(FamilyFactor, OnePlaceIsTheNormalQuantile) {
  // Upper 2.5 % point of the normal distribution, 1.95996 (any table).
  EXPECT_NEAR(family_factor(0.0, 1, 0.025), 1.95996, 1e-4);
  EXPECT_NEAR(family_factor(1.0, 400, 0.025), 1.95996, 1e-4);
  EXPECT_NEAR(family_factor(0.6, 1, 0.025), 1.95996, 1e-3) << "the sum of both parts is one normal variable";
}

TEST(FamilyFactor, ManyIndependentPlacesFollowSidak) {
  // Sidak: 1 - (1 - p)^400 = 0.025 gives p = 6.3294e-5.
  const double factor = family_factor(0.0, 400, 0.025);
  EXPECT_NEAR(0.5 * std::erfc(factor / std::sqrt(2.0)), -std::expm1(std::log1p(-0.025) / 400), 1e-8);
}

TEST(FamilyFactor, MixedErrorsAgreeWithSimulation) {
  constexpr unsigned seed = 20260711;
  RecordProperty("seed", seed);
  std::mt19937_64 random(seed);
  std::normal_distribution<double> normal;
  constexpr int places = 50, trials = 40000;
  const double common = 0.7, local = std::sqrt(1 - common * common);
  const double factor = family_factor(common, places, 0.025);
  int above = 0;
  for (int trial = 0; trial < trials; ++trial) {
    double largest = -1e9;
    for (int i = 0; i < places; ++i) largest = std::max(largest, normal(random));
    if (common * normal(random) + local * largest > factor) ++above;
  }
  // Four standard deviations of a binomial share of 0.025.
  EXPECT_NEAR(above / static_cast<double>(trials), 0.025, 4 * std::sqrt(0.025 * 0.975 / trials)) << "seed " << seed;
}

TEST(CorrelationLength, FindsTheWidthOfAMovingAverage) {
  constexpr unsigned seed = 20260712;
  std::mt19937_64 random(seed);
  std::normal_distribution<double> normal;
  for (const int width : {1, 3, 6}) {
    std::vector<double> white(4000), averaged;
    for (double& v : white) v = normal(random);
    for (std::size_t i = 0; i + width <= white.size(); ++i) {
      double sum = 0.0;
      for (int j = 0; j < width; ++j) sum += white[i + j];
      averaged.push_back(sum);
    }
    // A moving average of w white values has autocorrelation 1 - k/w: the sum over all lags is exactly w. Each of the w
    // lags is known to about sqrt(w / 4000); the correction for the running mean is good to a tenth.
    EXPECT_NEAR(correlation_length_in_stations(averaged), width, 0.1 * width + 4 * width * std::sqrt(width / 4000.0))
        << "width " << width << ", seed " << seed;
  }
}

}  // namespace
}  // namespace rimwright
