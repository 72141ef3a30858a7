// Where the bevel is at its full drop, between its run-outs.
#include <gtest/gtest.h>

#include <algorithm>
#include <cmath>
#include <functional>
#include <numbers>
#include <optional>
#include <vector>

#include "measure/measure_fairness.h"

namespace rimwright {
namespace {

TEST(FullStretch, IsWhatIsNotRunOut) {
  std::vector<BevelStation> stations;
  for (double s = 0.5; s < 300.0; s += 1.0) {
    BevelStation station;
    station.station_mm = s;
    // Raised-cosine run-outs of 60 mm at both ends of 300 mm.
    const double from_end = std::min(s, 300.0 - s);
    station.drop_mm.value = 14.0 * (from_end >= 60.0 ? 1.0 : 0.5 - 0.5 * std::cos(std::numbers::pi * from_end / 60.0));
    stations.push_back(station);
  }
  const auto stretch = full_stretch(stations);
  ASSERT_TRUE(stretch.has_value());
  // A raised cosine leaves its full height like a parabola. The stretch may not reach into the run-out, and may lose of
  // the full length no more than the 3 mm it spares and what judging the steepness over four stations costs (6 mm).
  EXPECT_GE(stretch->from_mm, 59.0);
  EXPECT_LE(stretch->from_mm, 69.0);
  EXPECT_LE(stretch->to_mm, 241.0);
  EXPECT_GE(stretch->to_mm, 231.0);
  EXPECT_NEAR(stretch->drop_mm, 14.0, 0.02);
  EXPECT_FALSE(full_stretch({}).has_value());
}

// A bevel with raised-cosine run-outs of 60 mm at both ends of `length`, its drop changed by `change`.
std::vector<BevelStation> stations_of(double length, double full_mm, const std::function<double(double)>& change) {
  std::vector<BevelStation> stations;
  for (double s = 0.5; s < length; s += 1.0) {
    BevelStation station;
    station.station_mm = s;
    const double from_end = std::min(s, length - s);
    station.drop_mm.value =
        full_mm * (from_end >= 60.0 ? 1.0 : 0.5 - 0.5 * std::cos(std::numbers::pi * from_end / 60.0)) + change(s);
    stations.push_back(station);
  }
  return stations;
}

double dip(double s, double middle, double half_width) {
  return std::abs(s - middle) < half_width ? 0.5 + 0.5 * std::cos(std::numbers::pi * (s - middle) / half_width) : 0.0;
}

// A wave deep enough to move the edge by more than a millimetre is no run-out: the drop comes back.
TEST(FullStretch, AWaveDoesNotEndIt) {
  const auto stretch = full_stretch(stations_of(300.0, 14.0, [](double s) { return -1.5 * dip(s, 120.0, 20.0); }));
  ASSERT_TRUE(stretch.has_value());
  EXPECT_GE(stretch->from_mm, 59.0);  // as without the wave
  EXPECT_LE(stretch->from_mm, 69.0);
  EXPECT_GE(stretch->to_mm, 231.0);
  EXPECT_LE(stretch->to_mm, 241.0);
}

// Rim that is not seen (a clamp) does not end it either.
TEST(FullStretch, AGapDoesNotEndIt) {
  auto stations = stations_of(400.0, 14.0, [](double) { return 0.0; });
  std::erase_if(stations, [](const BevelStation& s) { return s.station_mm > 165.0 && s.station_mm < 235.0; });
  const auto stretch = full_stretch(stations);
  ASSERT_TRUE(stretch.has_value());
  EXPECT_LE(stretch->from_mm, 69.0);
  EXPECT_GE(stretch->to_mm, 331.0);
}

// One stray station in a run-out does not carry it there.
TEST(FullStretch, AStrayStationDoesNotCarryItOn) {
  auto stations = stations_of(400.0, 14.0, [](double) { return 0.0; });
  for (auto& station : stations)
    if (std::abs(station.station_mm - 357.5) < 0.1) station.drop_mm.value = 13.8;
  const auto stretch = full_stretch(stations);
  ASSERT_TRUE(stretch.has_value());
  EXPECT_LE(stretch->to_mm, 341.0);
}

// Two shallow bevels parted by run-outs are two.
TEST(FullStretch, TwoShallowBevelsAreNotOne) {
  const auto stretch = full_stretch(stations_of(400.0, 3.0, [](double s) { return -2.4 * dip(s, 200.0, 30.0); }));
  ASSERT_TRUE(stretch.has_value());
  EXPECT_LT(stretch->length_mm(), 200.0);
}

// Drops at stations a millimetre apart, from 0.5 mm.
std::optional<FullStretch> stretch_of(std::size_t count, const std::function<double(double)>& drop_at) {
  std::vector<BevelStation> stations(count);
  for (std::size_t i = 0; i < count; ++i) {
    stations[i].station_mm = static_cast<double>(i) + 0.5;
    stations[i].drop_mm.value = drop_at(stations[i].station_mm);
  }
  return full_stretch(stations);
}

// A run-out that leaves the full drop like the parabola q d^2 is 0.6 mm below it at d = sqrt(0.6 / q). Its steepness,
// taken over the next four stations, is q (2 d - 4), so that 2 r / k = d / (1 - 2 / d) from there is judged to be its
// way to go; 5 mm more are spared. Stations are a millimetre apart, and a raised cosine is a parabola to second order.
// With run-outs of 160 mm only every fifth station has the full drop.
TEST(FullStretch, BeginsWhereTheRunOutEnds) {
  for (const double run_out_mm : {60.0, 100.0, 160.0}) {
    constexpr double full_mm = 14.0;
    const double q = full_mm * std::pow(std::numbers::pi / run_out_mm, 2) / 4.0, d = std::sqrt(0.6 / q);
    const auto stretch = stretch_of(400, [&](double s) {
      const double from_end = std::min(s, 400.0 - s);
      return full_mm * (from_end >= run_out_mm ? 1.0 : 0.5 - 0.5 * std::cos(std::numbers::pi * from_end / run_out_mm));
    });
    ASSERT_TRUE(stretch.has_value());
    const double begin_mm = run_out_mm - d + d / (1.0 - 2.0 / d) + 5.0;
    EXPECT_NEAR(stretch->from_mm, begin_mm, 1.5) << run_out_mm;
    EXPECT_NEAR(stretch->to_mm, 400.0 - begin_mm, 1.5) << run_out_mm;
    EXPECT_EQ(stretch->drop_mm, full_mm);
  }
}

// Ends that fall by less than 0.015 mm a millimetre are no run-outs, nor are those that are less than 0.08 mm down;
// from one that falls just more, no more than 40 mm are taken.
TEST(FullStretch, AnEndThatHardlyFallsIsNoRunOut) {
  const auto from_mm = [](double slope, double fall_mm) {
    const auto stretch = stretch_of(400, [&](double s) { return 14.0 - std::max(0.0, fall_mm - slope * s); });
    return stretch ? stretch->from_mm : -1.0;
  };
  EXPECT_NEAR(from_mm(0.014, 2.0), (2.0 - 0.6) / 0.014, 1.0);
  EXPECT_NEAR(from_mm(0.016, 2.0), (2.0 - 0.6) / 0.016 + 40.0, 1.0);
  EXPECT_EQ(from_mm(0.02, 0.085), 0.5) << "0.075 mm down at the first station";
  // 2 r / k and 5 mm from there, for r = 0.09 mm and k = 0.02.
  EXPECT_NEAR(from_mm(0.02, 0.10), 0.5 + 9.0 + 5.0, 1e-9);
}

// What is low in the middle of the full drop is a wave while it is not too deep, not too long, and followed by 5 mm of
// full drop.
TEST(FullStretch, AWaveIsToldFromTheRunOutsBetweenTwoBevels) {
  // A second wave, 61 mm long, begins `back_mm` after the first.
  const auto is_one = [](double full_mm, double low_mm, double wave_mm, double back_mm = 300.0) {
    const auto stretch = stretch_of(400, [&](double s) {
      const double since = s - 150.0, again = since - wave_mm - back_mm;
      return full_mm - ((since > 0.0 && since < wave_mm) || (again > 0.0 && again < 61.0) ? low_mm : 0.0);
    });
    EXPECT_TRUE(stretch.has_value());
    return stretch && stretch->from_mm == 0.5 && stretch->to_mm > 160.0;
  };
  EXPECT_TRUE(is_one(14.0, 0.59, 80.0)) << "no wave at all";
  EXPECT_TRUE(is_one(14.0, 0.61, 60.0));
  EXPECT_FALSE(is_one(14.0, 0.61, 61.0));
  EXPECT_TRUE(is_one(14.0, 2.95, 30.0));
  EXPECT_FALSE(is_one(14.0, 3.05, 30.0));
  EXPECT_TRUE(is_one(8.0, 1.95, 30.0)) << "a quarter of a shallow bevel's drop";
  EXPECT_FALSE(is_one(8.0, 2.05, 30.0));
  EXPECT_TRUE(is_one(14.0, 1.0, 30.0, 5.0));
  EXPECT_FALSE(is_one(14.0, 1.0, 30.0, 4.0));
}

// The full drop is what two fifths of the deep part reach: where they are 1 mm deeper than the rest, the rest is
// another, shallower bevel; where fewer are, they are the odd ones.
TEST(FullStretch, TheFullDropIsReachedByTwoFifths) {
  const auto deeper_to = [](double to_mm) {
    return stretch_of(400, [=](double s) { return s < to_mm ? 14.0 : 13.0; });
  };
  const auto half = deeper_to(180.0), few = deeper_to(140.0);
  ASSERT_TRUE(half && few);
  EXPECT_EQ(half->from_mm, 0.5);
  EXPECT_EQ(half->to_mm, 179.5);
  EXPECT_EQ(half->drop_mm, 14.0);
  EXPECT_EQ(few->from_mm, 0.5);
  EXPECT_EQ(few->to_mm, 399.5);
  EXPECT_EQ(few->drop_mm, 13.0);
}

// Of three bevels, 70 mm apart, the longest counts, wherever it lies.
TEST(FullStretch, OfSeveralTheLongestCounts) {
  for (const std::size_t longest : {0U, 1U, 2U}) {
    std::vector<double> drops;
    double from_mm = 0.0, to_mm = 0.0;
    for (std::size_t k = 0; k < 3; ++k) {
      const std::size_t length = k == longest ? 130 : 100 + 5 * k;
      if (k == longest) from_mm = static_cast<double>(drops.size()) + 0.5, to_mm = from_mm + 129.0;
      drops.insert(drops.end(), length, 14.0);
      drops.insert(drops.end(), 70, 10.0);
    }
    const auto stretch = stretch_of(drops.size(), [&](double s) { return drops[static_cast<std::size_t>(s)]; });
    ASSERT_TRUE(stretch.has_value());
    EXPECT_EQ(stretch->from_mm, from_mm);
    EXPECT_EQ(stretch->to_mm, to_mm);
  }
}

TEST(FullStretch, TenStationsMakeAStretch) {
  const auto flat = [](double) { return 14.0; };
  EXPECT_TRUE(stretch_of(10, flat).has_value());
  EXPECT_FALSE(stretch_of(9, flat).has_value());
  // The first is 0.1 mm down and the face rises by 0.025 mm a millimetre over the next four: 8 mm and 5 mm are taken.
  const auto falling = [](double s) { return 14.0 - std::max(0.0, 0.1 - 0.05 * (s - 0.5)); };
  EXPECT_TRUE(stretch_of(13 + 10, falling).has_value());
  EXPECT_FALSE(stretch_of(13 + 9, falling).has_value());
}

}  // namespace
}  // namespace rimwright
