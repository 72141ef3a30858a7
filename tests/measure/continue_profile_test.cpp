// Profiles drawn from the process that is assumed: what is hidden of them lies where it is said to, as surely as said.
#include "measure/continue_profile.h"

#include <gtest/gtest.h>

#include <algorithm>
#include <cmath>
#include <limits>
#include <numbers>
#include <random>

namespace rimwright {
namespace {

constexpr double nan = std::numeric_limits<double>::quiet_NaN();

// A sum of many sines of random phase whose wave numbers follow a normal distribution of standard deviation 1 / l has
// the correlation exp(-x^2 / (2 l^2)).
std::vector<double> drawn(std::size_t samples, double height_mm, double length_mm, std::mt19937_64& random) {
  constexpr int sines = 400;
  std::normal_distribution<double> wave_number(0.0, 1.0 / length_mm);
  std::uniform_real_distribution<double> phase(0.0, 2 * std::numbers::pi);
  std::vector<double> profile(samples, 0.0);
  for (int k = 0; k < sines; ++k) {
    const double w = wave_number(random), p = phase(random);
    for (std::size_t i = 0; i < samples; ++i)
      profile[i] += height_mm * std::sqrt(2.0 / sines) * std::sin(w * static_cast<double>(i) + p);
  }
  return profile;
}

TEST(ContinueProfile, WhatIsHiddenLiesWhereItIsSaidTo) {
  constexpr std::size_t seen = 240, beyond = 30;
  constexpr int profiles = 200;
  const std::uint64_t seed = 20;
  std::mt19937_64 random(seed);
  std::normal_distribution<double> noise(0.0, 0.01);
  // Places beyond the end, and one in a gap of 15 mm in the middle.
  const std::vector<std::size_t> looked_at{beyond + seen + 2, beyond + seen + 6, beyond + seen + 15, beyond + 127};
  std::vector<double> inside(looked_at.size(), 0.0), u_sum(looked_at.size(), 0.0);
  for (int k = 0; k < profiles; ++k) {
    const std::vector<double> whole = drawn(seen + 2 * beyond, 0.1, 10.0, random);
    std::vector<double> profile(whole.begin() + beyond, whole.end() - beyond);
    for (double& y : profile) y += noise(random);
    for (std::size_t i = 120; i < 135; ++i) profile[i] = nan;
    const ContinuedProfile continued = continue_profile(profile, 1.0, beyond, 0.01, 5.0, 13.0);
    ASSERT_EQ(continued.heights_mm.size(), whole.size());
    ASSERT_EQ(continued.unseen.size(), 2 * beyond + 15);
    for (std::size_t j = 0; j < looked_at.size(); ++j) {
      const auto at = std::find(continued.unseen.begin(), continued.unseen.end(), looked_at[j]);
      ASSERT_NE(at, continued.unseen.end());
      const auto row = at - continued.unseen.begin();
      const double u = std::sqrt(continued.unseen_covariance(row, row));
      u_sum[j] += u;
      inside[j] += std::abs(continued.heights_mm[looked_at[j]] - whole[looked_at[j]]) < 1.96 * u;
    }
  }
  // Beside the end, a fifth of l beyond it, it is surely told: within a third of the waves' own height.
  EXPECT_LT(u_sum[0] / profiles, 0.1 / 3.0);
  // 95 % of 200 within 3.3 standard deviations of that count (0.015 each); above, height and length of the waves come
  // from one profile of 24 correlation lengths, which takes up to 3 % of it.
  for (std::size_t j = 0; j < looked_at.size(); ++j)
    EXPECT_GT(inside[j] / profiles, 0.95 - 3.3 * 0.0154 - 0.03) << "place " << looked_at[j] << ", seed " << seed;
}

TEST(ContinueProfile, WithoutWavesItGoesOnLevel) {
  std::vector<double> profile(120, 4.2);
  const ContinuedProfile continued = continue_profile(profile, 1.0, 80, 0.005, 5.0, 13.0);
  for (const std::size_t i : continued.unseen) EXPECT_NEAR(continued.heights_mm[i], 4.2, 1e-4);
  EXPECT_LT(continued.unseen_covariance.diagonal().maxCoeff(), 1e-6);
}

TEST(ContinueProfile, WavesGoOnForATenthOfTheirLength) {
  std::vector<double> profile;
  for (double s = 0.0; s < 121.0; s += 1.0) profile.push_back(0.2 * std::sin(2 * std::numbers::pi * s / 40.0));
  const ContinuedProfile continued = continue_profile(profile, 1.0, 40, 0.002, 5.0, 13.0);
  for (std::size_t i = 0; i < 4; ++i) {
    const double truth = 0.2 * std::sin(2 * std::numbers::pi * (121.0 + static_cast<double>(i)) / 40.0);
    // Twice as near as going on level, which is off by 0.03 mm at the first and by 0.12 at the last.
    EXPECT_LT(std::abs(continued.heights_mm[40 + 121 + i] - truth), 0.5 * std::abs(profile.back() - truth)) << i;
  }
}

}  // namespace
}  // namespace rimwright
