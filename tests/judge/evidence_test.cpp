#include "judge/evidence.h"

#include <gtest/gtest.h>

#include <cmath>
#include <numbers>
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

// P(s + max_i r_i > f) by the other of the two integrals than the code takes: over the largest of the places' own
// errors, whose density is n phi(r) Phi(r)^(n - 1).
double probability_above(double factor, double common, double local, double places) {
  const auto above = [](double z) { return 0.5 * std::erfc(z / std::sqrt(2.0)); };
  constexpr double step = 0.002;
  double sum = 0.0;
  for (double r = -9.0; r < 9.0; r += step) {
    const double density = std::exp(-0.5 * r * r) / std::sqrt(2.0 * std::numbers::pi);
    sum += places * density * std::pow(1.0 - above(r), places - 1.0) * above((factor - local * r) / common);
  }
  return sum * step;
}

// Whatever the share of what all places have in common, the chance is the one asked for. The table is good to a
// thousandth of the factor, which at a factor f changes the chance by a share of f^2 / 1000: 1.4 % for 3.7.
TEST(FamilyFactors, HoldTheChanceForEveryShareOfCommonError) {
  for (const double places : {1.0, 7.0, 100.0, 400.0}) {
    constexpr double alpha = 0.0025;
    FamilyFactors factors(places, alpha);
    for (int degrees = 3; degrees < 90; degrees += 3) {
      const double common = std::sin(degrees * std::numbers::pi / 180.0);
      const double local = std::cos(degrees * std::numbers::pi / 180.0);
      // In millimetres, as uncertainties come.
      const double factor = factors.at(0.02 * common, 0.02 * local);
      EXPECT_NEAR(probability_above(factor, common, local, places), alpha, 0.015 * alpha)
          << places << " places, " << degrees;
    }
  }
}

TEST(FamilyFactors, WithOneKindOfErrorAloneAreExact) {
  FamilyFactors factors(400.0, 0.025);
  EXPECT_NEAR(factors.at(0.01, 0.0), 1.95996, 1e-4);
  EXPECT_EQ(factors.at(0.0, 0.01), family_factor(0.0, 400.0, 0.025));
  EXPECT_EQ(factors.at(0.0, 0.0), family_factor(0.0, 400.0, 0.025)) << "where nothing is said, the larger factor";
}

// A share that rounding made a hair larger than 1 is 1.
TEST(FamilyFactor, IsTheQuantileForWhatIsAllCommon) {
  EXPECT_NEAR(family_factor(1.0 + 1e-12, 400, 0.025), 1.95996, 1e-4);
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

// The mean over many series: never below the truth by more than its own scatter, which would make chance look like
// evidence, and never a tenth above it. In millimetres about a depth of 6 mm, as values come.
TEST(CorrelationLength, IsNeverTooShort) {
  constexpr unsigned seed = 20261128;
  std::mt19937_64 random(seed);
  std::normal_distribution<double> normal(0.0, 0.002);
  constexpr int trials = 100, count = 4000;
  for (const int width : {1, 3, 6, 10}) {
    double sum = 0.0, squares = 0.0;
    for (int trial = 0; trial < trials; ++trial) {
      std::vector<double> white(count + width), averaged(count, 6.0);
      for (double& v : white) v = normal(random);
      for (int i = 0; i < count; ++i)
        for (int j = 0; j < width; ++j) averaged[i] += white[i + j];
      const double ratio = correlation_length_in_stations(averaged) / width;
      sum += ratio;
      squares += ratio * ratio;
    }
    const double mean = sum / trials, u = std::sqrt((squares / trials - mean * mean) / trials);
    EXPECT_GE(mean, 1.0 - 3.0 * u) << "width " << width << ", seed " << seed;
    EXPECT_LE(mean, 1.1 + 3.0 * u) << "width " << width << ", seed " << seed;
  }
}

// Of fewer than 40 stations nothing is known but that they may all be alike.
TEST(CorrelationLength, OfAFewStationsIsAllOfThem) {
  constexpr unsigned seed = 20261129;
  std::mt19937_64 random(seed);
  std::normal_distribution<double> normal;
  std::vector<double> white(40);
  for (double& v : white) v = normal(random);
  EXPECT_LT(correlation_length_in_stations(white), 20.0) << "seed " << seed;
  for (const std::size_t count : {39U, 25U, 2U, 1U})
    EXPECT_EQ(correlation_length_in_stations({white.begin(), white.begin() + static_cast<std::ptrdiff_t>(count)}),
              static_cast<double>(count));
  EXPECT_EQ(correlation_length_in_stations({}), 1.0);
}

// Values that are all the same, that alternate, or of which one alone stands out, at either end or between: each
// station is its own.
TEST(CorrelationLength, IsOneWhereNeighboursSayNothingOfEachOther) {
  EXPECT_EQ(correlation_length_in_stations(std::vector<double>(100, 6.0)), 1.0);
  std::vector<double> alternating(100);
  for (std::size_t i = 0; i < alternating.size(); ++i) alternating[i] = i % 2 == 0 ? 1.0 : -1.0;
  EXPECT_EQ(correlation_length_in_stations(alternating), 1.0);
  for (const std::size_t at : {0U, 40U, 99U}) {
    std::vector<double> lone(100, 0.0);
    lone[at] = 1.0;
    EXPECT_EQ(correlation_length_in_stations(lone), 1.0) << at;
  }
  // Two alike side by side have correlation 1/2 and make twice as few; nothing follows after the first lag. Their mean
  // over 41 stations takes a little from both.
  std::vector<double> pairs(200, 0.0);
  pairs[0] = pairs[1] = 1.0;
  EXPECT_NEAR(correlation_length_in_stations(pairs), 2.0, 0.1);
}

}  // namespace
}  // namespace rimwright
