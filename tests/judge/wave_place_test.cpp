#include "judge/wave_place.h"

#include <gtest/gtest.h>

#include <algorithm>
#include <cmath>
#include <functional>
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

// What the filters of ISO 16610-21 leave of a sine between cutoffs of 10 and 80 mm, one after the other.
double left_of(double wavelength_mm) {
  const auto passes = [&](double cutoff_mm) {
    return std::exp(-std::log(2.0) * std::pow(cutoff_mm / wavelength_mm, 2));
  };
  return passes(10.0) * (1.0 - passes(80.0));
}

struct Profile {
  std::vector<double> stations_mm, values;
};
Profile profile(double length_mm, const std::function<double(double)>& height) {
  Profile p;
  for (double s = 0.0; s < length_mm; s += 1.0) {
    p.stations_mm.push_back(s);
    p.values.push_back(height(s));
  }
  return p;
}
WavePlace find_wave(const Profile& p, const BandLimit& limit) { return find_wave(p.stations_mm, p.values, limit); }

// A sine at full height over more than the longest cutoff either way of its middle, swelling from nothing and back over
// 200 mm: what the band leaves of it is a wave from half the limit on. Stations that miss the crest by 0.25 mm of 15
// cost 0.5 %, the swelling as much: 2 % below and 4 % above are clear of that.
TEST(WavePlace, AWaveIsOneFromHalfTheLimitInTheBand) {
  constexpr double limit_mm = 0.15;
  for (const double wavelength_mm : {15.0, 30.0, 60.0}) {
    const auto wave = [&](double share, double s) {
      const double swell = std::clamp((300.0 - std::abs(s - 350.0)) / 200.0, 0.0, 1.0);
      return share * 0.5 * limit_mm / left_of(wavelength_mm) * (0.5 - 0.5 * std::cos(pi * swell)) *
             std::sin(2 * pi * (s - 350.0) / wavelength_mm);
    };
    const BandLimit limit{{10.0, 80.0}, limit_mm};
    EXPECT_FALSE(find_wave(profile(700.0, [&](double s) { return wave(0.98, s); }), limit).found) << wavelength_mm;
    EXPECT_TRUE(find_wave(profile(700.0, [&](double s) { return wave(1.04, s); }), limit).found) << wavelength_mm;

    // Twice as high it is one from where the swelling is at a half, to the crest that is nearest, and as far back.
    const WavePlace place = find_wave(profile(700.0, [&](double s) { return wave(2.0, s); }), limit);
    EXPECT_NEAR(place.from_mm, 150.0, wavelength_mm / 2 + 2.0) << wavelength_mm;
    EXPECT_NEAR(place.to_mm, 550.0, wavelength_mm / 2 + 2.0) << wavelength_mm;
  }
}

// A line has no wave, however steep and however small the limit: rounding alone is left.
TEST(WavePlace, ALineHasNone) {
  EXPECT_FALSE(find_wave(profile(300.0, [](double s) { return 3.0 - 0.5 * s; }), {{10.0, 80.0}, 1e-9}).found);
}

// A hump of 0.2 mm is a wave by itself, a hollow of 0.1 mm, of which the filters leave 0.065, is not; as the other half
// of one wave it belongs to it. The hump, 20 mm long, is above half the limit over 10 mm.
TEST(WavePlace, AWaveReachesFromItsCrestToItsTrough) {
  const auto bump = [](double s, double middle) {
    return std::abs(s - middle) < 10.0 ? 0.5 + 0.5 * std::cos(pi * (s - middle) / 10.0) : 0.0;
  };
  const BandLimit limit{{10.0, 80.0}, 0.15};
  for (const double sign : {1.0, -1.0}) {
    const auto with_hollow_at = [&](double hollow_mm) {
      return find_wave(
          profile(500.0, [&](double s) { return sign * (0.2 * bump(s, 250.0) - 0.1 * bump(s, hollow_mm)); }), limit);
    };
    const WavePlace alone = with_hollow_at(-100.0), after = with_hollow_at(290.0), before = with_hollow_at(210.0),
                    far = with_hollow_at(340.0);
    ASSERT_TRUE(alone.found && after.found && before.found && far.found);
    EXPECT_NEAR(sign > 0 ? after.crest_mm : after.trough_mm, 250.0, 1.0);
    EXPECT_NEAR(sign > 0 ? after.trough_mm : after.crest_mm, 290.0, 3.0);
    EXPECT_EQ(after.to_mm, sign > 0 ? after.trough_mm : after.crest_mm);
    EXPECT_NEAR(after.from_mm, 245.0, 3.0);
    EXPECT_EQ(before.from_mm, sign > 0 ? before.trough_mm : before.crest_mm);
    EXPECT_NEAR(before.from_mm, 210.0, 3.0);
    EXPECT_NEAR(before.to_mm, 255.0, 3.0);
    // 90 mm away it is none of this wave's.
    EXPECT_NEAR(sign > 0 ? far.trough_mm : far.crest_mm, 340.0, 3.0);
    EXPECT_NEAR(far.from_mm, 245.0, 3.0);
    EXPECT_NEAR(far.to_mm, 255.0, 3.0);
  }
}

// The first and the last station count as any other, and a station by itself is no wave.
TEST(WavePlace, EndsCountAndALoneStationDoesNot) {
  const BandLimit no_shortest{{0.0, 80.0}, 0.15};
  const WavePlace first = find_wave(profile(200.0, [](double s) { return s == 0.0 ? 1.0 : 0.0; }), no_shortest);
  ASSERT_TRUE(first.found);
  EXPECT_EQ(first.from_mm, 0.0);
  EXPECT_EQ(first.crest_mm, 0.0);
  const WavePlace last = find_wave(profile(200.0, [](double s) { return s == 199.0 ? 1.0 : 0.0; }), no_shortest);
  ASSERT_TRUE(last.found);
  EXPECT_EQ(last.to_mm, 199.0);
  EXPECT_EQ(last.crest_mm, 199.0);
  // Nor does it take the crest or the trough to begin a wave.
  const WavePlace both =
      find_wave(profile(300.0, [](double s) { return s == 0.0     ? 1.0
                                                     : s == 200.0 ? 2.0
                                                     : s == 201.0 ? -2.0
                                                                  : 0.0; }),
                no_shortest);
  EXPECT_EQ(both.from_mm, 0.0);
  EXPECT_EQ(both.crest_mm, 200.0);
  EXPECT_EQ(both.trough_mm, 201.0);
  Profile lone = profile(200.0, [](double) { return 0.0; });
  lone.stations_mm.push_back(400.0);
  lone.values.push_back(1.0);
  EXPECT_FALSE(find_wave(lone, {{10.0, 80.0}, 0.15}).found);
}

// Fewer than eight stations, stations without values and a band that is none tell nothing.
TEST(WavePlace, TooLittleHasNone) {
  const auto peak = [](double s) { return s == 4.0 ? 1.0 : 0.0; };
  const BandLimit limit{{0.0, 80.0}, 0.15};
  EXPECT_TRUE(find_wave(profile(8.0, peak), limit).found);
  EXPECT_FALSE(find_wave(profile(7.0, peak), limit).found);
  Profile uneven = profile(20.0, peak);
  uneven.stations_mm.push_back(20.0);
  EXPECT_FALSE(find_wave(uneven, limit).found);
  EXPECT_FALSE(find_wave(profile(20.0, peak), {{0.0, 0.0}, 0.15}).found);
}

}  // namespace
}  // namespace rimwright
