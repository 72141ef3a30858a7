// Bins of a slab against brute force.
#include "measure/slab_bins.h"

#include <gtest/gtest.h>

#include <algorithm>
#include <cmath>
#include <random>

#include "made_rim.h"
#include "measure/profile_frame.h"

namespace rimwright {
namespace {

std::vector<double> borders() {
  std::vector<double> result;
  for (double at = -30.0; at < -8.0; at += 1.0) result.push_back(at);
  for (double at = -8.0; at < 12.0; at += 0.16) result.push_back(at);
  for (double at = 12.0; at < 31.0; at += 1.0) result.push_back(at);
  return result;
}

TEST(BinFinder, FindsWhatASearchOfAllBordersFinds) {
  const std::vector<double> all = borders();
  const BinFinder finder(all);
  EXPECT_EQ(finder.bin_count(), all.size() - 1);
  std::mt19937 random(11);
  std::uniform_real_distribution<double> place(-33.0, 33.0);
  std::vector<double> places(all);
  for (const double border : all) {
    places.push_back(std::nextafter(border, -100.0));
    places.push_back(std::nextafter(border, 100.0));
  }
  for (int i = 0; i < 20000; ++i) places.push_back(place(random));
  for (const double at : places) {
    const auto after = std::upper_bound(all.begin(), all.end(), at);
    const bool outside = after == all.begin() || after == all.end();
    const auto expected = outside ? BinFinder::none : static_cast<std::uint16_t>(after - all.begin() - 1);
    EXPECT_EQ(finder.bin_at(at), expected) << at;
  }
  EXPECT_EQ(finder.bin_at(std::nan("")), BinFinder::none);
}

TEST(SlabBins, HoldThePointsOfTheSlabAndThoseNearTheMedian) {
  const double length_mm = 40.0, station_mm = 17.0, slab_mm = 3.0, gate_mm = 0.1;
  const UnrolledRim rim = test::made_rim(
      length_mm, [](double) { return test::bevelled_profile(14, 124); }, 3.0, 0.05,
      5);  // few a bin: all tell the middle
  const std::vector<double> all = borders();
  SlabBins bins;
  bins.gather(rim, BinFinder(all), 3.0, slab_mm, 1e6);  // what an earlier slab left must not show
  bins.gather(rim, BinFinder(all), station_mm, slab_mm, 1e6);
  ASSERT_EQ(bins.size(), all.size() - 1);
  std::size_t in_bins = 0;
  for (std::size_t b = 0; b < bins.size(); ++b) {
    std::vector<float> expected;
    for (std::size_t i = 0; i < rim.station_mm.size(); ++i) {
      if (std::abs(static_cast<double>(rim.station_mm[i]) - station_mm) > slab_mm / 2) continue;
      const double along = profile_along(rim.out_mm[i], rim.up_mm[i]);
      if (along >= all[b] && along < all[b + 1])
        expected.push_back(static_cast<float>(profile_height(rim.out_mm[i], rim.up_mm[i])));
    }
    ASSERT_EQ(bins[b].size(), expected.size()) << b;
    in_bins += expected.size();
    bins.keep_near_median(b, gate_mm);
    if (expected.size() < 2) {
      EXPECT_TRUE(bins[b].empty());
      continue;
    }
    std::sort(expected.begin(), expected.end());
    const auto low = static_cast<float>(expected[expected.size() / 2] - gate_mm),
               high = static_cast<float>(expected[expected.size() / 2] + gate_mm);
    std::erase_if(expected, [&](float height) { return height < low || height > high; });
    std::vector<float> kept;
    for (const SlabBins::Member& member : bins[b]) kept.push_back(member.height);
    std::sort(kept.begin(), kept.end());
    EXPECT_EQ(kept, expected) << b;
  }
  EXPECT_GT(in_bins, 500U);
}

TEST(SlabBins, TakeAnEvenShareOfADenseSlab) {
  const UnrolledRim rim = test::made_rim(
      20.0, [](double) { return test::bevelled_profile(14, 124); }, 20.0, 0.05, 5);
  const BinFinder finder(borders());
  const auto points_with = [&](double enough) {
    SlabBins bins;
    bins.gather(rim, finder, 10.0, 3.0, enough);
    std::size_t points = 0;
    for (std::size_t b = 0; b < bins.size(); ++b) points += bins[b].size();
    return points;
  };
  const std::size_t all = points_with(1e9);
  EXPECT_EQ(points_with(static_cast<double>(2 * all)), all);
  const std::size_t some = points_with(500.0);
  EXPECT_GE(some, 400U);  // some of the 500 lie outside of all bins
  EXPECT_LT(some, 700U);
}

// Of many points the median comes from an even share. A fifth of the slab stands 1 mm proud: twenty times the noise, so
// the gate parts the two whatever the share says within it.
TEST(SlabBins, WhatStandsProudOfManyPointsIsDropped) {
  constexpr double station_mm = 10.0, slab_mm = 3.0, noise_mm = 0.05, proud_mm = 1.0, gate_mm = 0.5;
  const auto is_proud = [](double s) { return s > station_mm + 0.3 * slab_mm; };
  const UnrolledRim rim = test::made_rim(
      20.0, [](double) { return test::bevelled_profile(14, 124); }, 80.0, noise_mm, 5,
      [&](double s, std::size_t, double) { return is_proud(s) ? proud_mm : 0.0; });
  const BinFinder finder({-2.0, -1.0, 0.0, 1.0, 2.0});  // across the bevel, which falls 0.2 mm a millimetre here
  SlabBins bins;
  bins.gather(rim, finder, station_mm, slab_mm, 1e6);
  const std::size_t on_bevel = finder.bin_at(0.5);
  std::size_t flush = 0;
  for (const SlabBins::Member& m : bins[on_bevel]) flush += is_proud(station_mm + static_cast<double>(m.ds)) ? 0 : 1;
  ASSERT_GT(flush, 200U);  // far more than the share
  ASSERT_LT(flush, bins[on_bevel].size());
  bins.keep_near_median(on_bevel, gate_mm);
  EXPECT_EQ(bins[on_bevel].size(), flush);
  for (const SlabBins::Member& m : bins[on_bevel]) EXPECT_FALSE(is_proud(station_mm + static_cast<double>(m.ds)));
}

TEST(SlabBins, MovementAlongTheRimIsTakenOut) {
  constexpr double speed = 0.3;  // out along the rim, as in a run-out
  const UnrolledRim rim = test::made_rim(
      40.0, [](double) { return test::bevelled_profile(14, 124); }, 6.0, 0.0, 5,
      [](double s, std::size_t, double) { return speed * (s - 20.0); });
  const BinFinder finder(borders());
  SlabBins bins;
  bins.gather(rim, finder, 20.0, 3.0, 1e6);
  bins.take_out_movement();
  const auto slope_of = [](std::span<const SlabBins::Member> bin) {
    double s = 0, h = 0, ss = 0, sh = 0;
    for (const auto& m : bin) s += m.ds, h += m.height, ss += m.ds * m.ds, sh += m.ds * m.height;
    const double n = static_cast<double>(bin.size());
    return (sh - s * h / n) / (ss - s * s / n);
  };
  const std::size_t on_side = finder.bin_at(-20.0);  // far from every edge: neighbours move alike
  ASSERT_GT(bins[on_side].size(), 10U);
  EXPECT_LT(std::abs(slope_of(bins[on_side])), 0.1 * speed);
}

}  // namespace
}  // namespace rimwright
