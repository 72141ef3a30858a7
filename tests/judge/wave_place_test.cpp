#include "judge/wave_place.h"

#include <gtest/gtest.h>

#include <cmath>
#include <random>

namespace rimwright {
namespace {

constexpr double pi = 3.14159265358979323846;

TEST(WavePlace, FindsTheStretchOfAWave) {
  constexpr unsigned seed = 77;
  std::mt19937_64 random(seed);
  std::normal_distribution<double> noise(0.0, 0.01);
  std::vector<double> stations, values;
  for (double s = 100.0; s < 440.0; s += 1.0) {
    stations.push_back(s);
    // 0.44 mm peak to valley, 34 mm long, from 160 to 330; a slow slope that is no wave.
    values.push_back(0.004 * s + (s > 160 && s < 330 ? 0.22 * std::sin(2 * pi * (s - 160) / 34) : 0.0) + noise(random));
  }
  const WavePlace place = find_wave(stations, values, {{10.0, 80.0}, 0.15});
  ASSERT_TRUE(place.found) << "seed " << seed;
  // The limit's half, 0.075, is reached 34 / (2 pi) asin(0.075 / 0.22) = 1.9 mm after the wave begins; the filters blur
  // its ends by a few stations.
  EXPECT_NEAR(place.from_mm, 162.0, 5.0);
  EXPECT_NEAR(place.to_mm, 328.0, 5.0);
  EXPECT_NEAR(std::remainder(place.crest_mm - 168.5, 34.0), 0.0, 3.0);
}

TEST(WavePlace, AStraightOrSlowlyBentLineHasNone) {
  std::vector<double> stations, values;
  for (double s = 0.0; s < 300.0; s += 1.0) {
    stations.push_back(s);
    values.push_back(0.01 * s + 0.4 * std::sin(2 * pi * s / 900.0));
  }
  EXPECT_FALSE(find_wave(stations, values, {{10.0, 80.0}, 0.15}).found);
  EXPECT_FALSE(find_wave({}, {}, {{10.0, 80.0}, 0.15}).found);
}

}  // namespace
}  // namespace rimwright
