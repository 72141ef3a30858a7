// Height of a band: what is no wave counts for none, whatever it rests on.
#include "measure/band_height.h"

#include <gtest/gtest.h>

#include <cmath>
#include <numbers>

namespace rimwright {
namespace {

constexpr WaveBand band{10.0, 80.0};
const ProfileSamples samples{0.005, 0.0, {}, 4.0};

std::vector<double> profile_of(double length_mm, double drift_mm, double wave_mm) {
  std::vector<double> profile;
  for (double s = 0.0; s < length_mm; s += 1.0)
    profile.push_back(drift_mm * s / length_mm + 0.5 * wave_mm * std::sin(2 * std::numbers::pi * s / 40.0));
  return profile;
}

TEST(BandHeight, ADriftIsNoWave) {
  for (const double length : {80.0, 250.0}) {
    const Measured height = height_in_band(profile_of(length, 0.004 * length, 0.0), 1.0, band, samples);
    ASSERT_TRUE(height.is_measured());
    EXPECT_LT(height.value, 0.001) << length;
    EXPECT_LT(height.u95(), 0.05) << length;  // no wave, and no doubt of one
  }
}

TEST(BandHeight, AWaveOnADriftIsTheSameWave) {
  // 6.25 wavelengths: the least-squares line through the sine itself is what is left, below 3 % of its height.
  const double alone = height_in_band(profile_of(250.0, 0.0, 0.3), 1.0, band, samples).value;
  const double on_drift = height_in_band(profile_of(250.0, 0.6, 0.3), 1.0, band, samples).value;
  EXPECT_NEAR(on_drift, alone, 1e-6);
  // What ISO 16610-21 lets through of a wave of 40 mm, and how far its last peaks depend on what lies beyond the ends.
  const double alpha_squared = std::numbers::ln2 / std::numbers::pi;
  const auto passed = [&](double cutoff) {
    return std::exp(-std::numbers::pi * alpha_squared * std::pow(cutoff / 40.0, 2));
  };
  EXPECT_NEAR(alone, 0.3 * (passed(10.0) - passed(80.0)), 0.1 * 0.3);
}

TEST(BandHeight, AWaveCutOffByTheEndIsNotSure) {
  // It rises by 0.5 mm over the last 10 mm: how far it goes on is not seen. A tenth of that at the least.
  std::vector<double> profile(120, 0.0);
  for (std::size_t i = 110; i < 120; ++i) profile[i] = 0.5 * static_cast<double>(i - 109) / 10.0;
  EXPECT_GT(height_in_band(profile, 1.0, band, samples).u95(), 0.05);
}

}  // namespace
}  // namespace rimwright
