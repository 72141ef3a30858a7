#include "judge/compare.h"

#include <gtest/gtest.h>

#include <algorithm>
#include <cmath>
#include <limits>

namespace rimwright {
namespace {

constexpr double inf = std::numeric_limits<double>::infinity();
constexpr double nan = std::numeric_limits<double>::quiet_NaN();

// ISO 14253-1:2017: conformity is proven only when the measured value lies within the limits by more than the
// expanded uncertainty, non-conformity only when it lies outside by more (clauses from memory; cases by hand).
TEST(Verdict, WholeIntervalDecides) {
  EXPECT_EQ(verdict_of(10.0, 0.1, 9.9, 10.1), Verdict::pass);
  EXPECT_EQ(verdict_of(10.05, 0.1, 9.9, 10.1), Verdict::undecided);
  EXPECT_EQ(verdict_of(10.15, 0.1, 9.9, 10.1), Verdict::undecided);
  EXPECT_EQ(verdict_of(10.21, 0.1, 9.9, 10.1), Verdict::fail);
  EXPECT_EQ(verdict_of(9.79, 0.1, 9.9, 10.1), Verdict::fail);
  EXPECT_EQ(verdict_of(10.0, 5.0, 9.9, 10.1), Verdict::undecided);
}

// On the limit to the last bit (all these numbers are sums of powers of two): the interval that touches a limit from
// inside lies within it; the one that touches it from outside does not lie beyond it.
TEST(Verdict, AnIntervalThatTouchesALimit) {
  EXPECT_EQ(verdict_of(9.75, 0.25, 9.5, 10.0), Verdict::pass);
  EXPECT_EQ(verdict_of(10.25, 0.25, 9.0, 10.0), Verdict::undecided);
  EXPECT_EQ(verdict_of(8.75, 0.25, 9.0, 10.0), Verdict::undecided);
}

TEST(Verdict, OneSidedLimitsAndMissingNumbers) {
  EXPECT_EQ(verdict_of(0.05, 0.02, -inf, 0.2), Verdict::pass);
  EXPECT_EQ(verdict_of(2.5, 0.2, 3.0, inf), Verdict::fail);
  EXPECT_EQ(verdict_of(nan, 0.1, 0.0, 1.0), Verdict::undecided);
  EXPECT_EQ(verdict_of(0.5, nan, 0.0, 1.0), Verdict::undecided);
}

Measured drop_of(double value) {
  Measured measured;
  measured.value = value;
  measured.u(UncertaintySource::point_noise) = 0.02;
  return measured;
}

// Raised-cosine run-outs of `run_out_mm` at both ends of a level bevel.
std::vector<BevelStation> bevel_with(double level_mm, double length_mm, double run_out_mm, double end_mm) {
  std::vector<BevelStation> stations;
  for (double s = 1.0; s < end_mm; s += 2.0) {
    const double from_end = std::min(s, length_mm - s);
    const double share = from_end < run_out_mm ? 0.5 - 0.5 * std::cos(3.14159265358979 * from_end / run_out_mm) : 1.0;
    BevelStation station;
    station.station_mm = s;
    station.drop_mm = drop_of(level_mm * share);
    stations.push_back(station);
  }
  return stations;
}

TEST(Fullest, LiesBetweenTheRunOuts) {
  const FullestStretch fullest = find_fullest(bevel_with(16.0, 300.0, 60.0, 300.0), 17.0);
  ASSERT_TRUE(fullest.is_known());
  // The run-out is flat at its shoulder: within the bandwidth of 0.05 mm over 60/pi acos(1 - 2 * 0.05 / 16) = 2.1 mm,
  // plus one station.
  EXPECT_NEAR(fullest.from_mm, 60.0, 4.2);
  EXPECT_NEAR(fullest.to_mm, 240.0, 4.2);
}

TEST(Fullest, ALocalTooDeepPlaceDoesNotSetTheLevel) {
  std::vector<BevelStation> stations = bevel_with(16.0, 300.0, 60.0, 300.0);
  for (BevelStation& station : stations) {
    if (std::abs(station.station_mm - 150.0) < 12.0) station.drop_mm.value = 17.8;
  }
  const FullestStretch fullest = find_fullest(stations, 17.0);
  ASSERT_TRUE(fullest.is_known());
  EXPECT_LT(fullest.from_mm, 66.0);
  EXPECT_GT(fullest.to_mm, 234.0);
}

// More than half of the bevel beyond the upper limit, or one number that is none: the level is that of the rest.
TEST(Fullest, WhatIsTooDeepDoesNotSetTheLevelHoweverCommon) {
  std::vector<BevelStation> stations = bevel_with(16.0, 300.0, 60.0, 300.0);
  for (BevelStation& station : stations) {
    if (std::abs(station.station_mm - 150.0) < 55.0) station.drop_mm.value = 17.8;
  }
  const FullestStretch fullest = find_fullest(stations, 17.0);
  ASSERT_TRUE(fullest.is_known());
  EXPECT_NEAR(fullest.from_mm, 60.0, 4.2);
  EXPECT_NEAR(fullest.to_mm, 240.0, 4.2);

  stations = bevel_with(16.0, 300.0, 60.0, 300.0);
  stations[75].drop_mm.value = 40.0;
  EXPECT_NEAR(find_fullest(stations, 17.0).from_mm, 60.0, 4.2);
}

TEST(Fullest, OneStationInARunOutDoesNotBeginIt) {
  std::vector<BevelStation> stations = bevel_with(16.0, 300.0, 60.0, 300.0);
  stations[10].drop_mm.value = 16.0;
  const FullestStretch fullest = find_fullest(stations, 17.0);
  ASSERT_TRUE(fullest.is_known());
  EXPECT_NEAR(fullest.from_mm, 60.0, 4.2);
}

TEST(Fullest, ABevelWithoutALevelIsFullestInItsMiddle) {
  const FullestStretch fullest = find_fullest(bevel_with(16.0, 240.0, 120.0, 240.0), 17.0);
  ASSERT_TRUE(fullest.is_known());
  EXPECT_NEAR((fullest.from_mm + fullest.to_mm) / 2, 120.0, 2.0);
  EXPECT_LT(fullest.to_mm - fullest.from_mm, 25.0);
}

TEST(Fullest, BadlySeenStationsOfARunOutDoNotBeginIt) {
  std::vector<BevelStation> stations = bevel_with(16.0, 300.0, 60.0, 300.0);
  for (BevelStation& station : stations) {
    if (station.station_mm > 30.0 && station.station_mm < 38.0)
      station.drop_mm.u(UncertaintySource::point_noise) = 4.0;  // drops 8 to 11.3 mm there
  }
  const FullestStretch fullest = find_fullest(stations, 17.0);
  ASSERT_TRUE(fullest.is_known());
  EXPECT_NEAR(fullest.from_mm, 60.0, 4.2);
}

TEST(Fullest, IsNotKnownWhereTheScanEndsInTheRunOut) {
  std::vector<BevelStation> stations = bevel_with(16.0, 300.0, 120.0, 80.0);
  EXPECT_FALSE(find_fullest(stations, 17.0).is_known());
  std::reverse(stations.begin(), stations.end());  // and where it begins there
  for (BevelStation& station : stations) station.station_mm = 80.0 - station.station_mm;
  EXPECT_FALSE(find_fullest(stations, 17.0).is_known());
}

TEST(Compare, AShallowRunOutIsNotHeldAgainstTheDrop) {
  Plan plan;
  plan.bevel = PlannedBevel{};
  plan.bevel->angle_deg = {124.0, {-1.0, 1.0}};
  plan.bevel->drop_mm = {16.0, {-1.0, 1.0}};
  Measures measures;
  measures.bevel.stations = bevel_with(16.0, 300.0, 60.0, 300.0);
  for (const JudgedSeries& series : compare(plan, measures)) {
    if (series.kind != QuantityKind::drop) continue;
    ASSERT_EQ(series.stations.size(), measures.bevel.stations.size());
    for (const JudgedStation& station : series.stations)
      EXPECT_EQ(station.verdict, Verdict::pass) << station.station_mm;
    return;
  }
  FAIL() << "no drop was judged";
}

// 1.5 mm too shallow throughout: it fails from the first station of the fullest stretch to the last, and nowhere else.
TEST(Compare, AShallowBevelFailsWhereItIsFullest) {
  Plan plan;
  plan.bevel = PlannedBevel{};
  plan.bevel->angle_deg = {124.0, {-1.0, 1.0}};
  plan.bevel->drop_mm = {16.0, {-1.0, 1.0}};
  Measures measures;
  measures.bevel.stations = bevel_with(14.5, 300.0, 60.0, 300.0);
  const FullestStretch fullest = find_fullest(measures.bevel.stations, 17.0);
  const std::vector<JudgedSeries> judged = compare(plan, measures);
  ASSERT_EQ(judged.at(1).kind, QuantityKind::drop);
  for (const JudgedStation& station : judged[1].stations) {
    const bool full = station.station_mm >= fullest.from_mm && station.station_mm <= fullest.to_mm;
    EXPECT_EQ(station.verdict, full ? Verdict::fail : Verdict::pass) << station.station_mm;
  }
}

TEST(Compare, EveryQuantityIsHeldAgainstItsOwnLimits) {
  Plan plan;
  plan.bevel = PlannedBevel{};
  plan.bevel->angle_deg = {124.0, {-0.5, 1.0}};
  plan.bevel->drop_mm = {16.0, {-1.0, 0.75}};
  plan.bevel->straightness_mm = 0.2;
  plan.bevel->waviness = BandLimit{{10.0, 80.0}, 0.15};
  plan.bevel->edge_fairness = BandLimit{{10.0, 80.0}, 0.25};
  plan.block = PlannedBlock{};
  plan.block->keep_mm = 3.0;
  PlannedChannel channel;
  channel.name = "edge binding";
  channel.width_tolerance_mm = {-0.1, 0.2};
  channel.depth_tolerance_mm = {-0.05, 0.3};
  channel.steps = {{2.0, 6.0, 0, 0}};
  plan.channels = {channel};

  Measures measures;
  measures.bevel.stations = bevel_with(16.0, 300.0, 0.0, 300.0);
  for (BevelStation& station : measures.bevel.stations) {
    station.angle_deg = drop_of(123.0);
    station.straightness_mm = drop_of(0.03);
  }
  measures.bevel.waviness_mm = drop_of(0.04);
  measures.bevel.lower_edge_fairness_mm = drop_of(0.05);
  measures.bevel.upper_edge_fairness_mm = drop_of(0.06);
  BlockStation block;
  block.top_left_mm = drop_of(7.0);
  block.side_left_mm = drop_of(8.0);
  measures.block = {block};
  ChannelMeasures measured;
  ChannelStation station;
  station.steps = {{drop_of(2.01), drop_of(6.02)}};
  measured.stations = {station};
  measures.channels = {measured};
  CompareSettings settings;
  settings.channel_end_mm = 0.0;

  struct Expected {
    QuantityKind kind;
    double value, lower, upper;
  };
  const std::vector<Expected> expected{{QuantityKind::angle, 123.0, 123.5, 125.0},
                                       {QuantityKind::drop, 16.0, 15.0, 16.75},
                                       {QuantityKind::straightness, 0.03, -inf, 0.2},
                                       {QuantityKind::waviness, 0.04, -inf, 0.15},
                                       {QuantityKind::lower_edge_fairness, 0.05, -inf, 0.25},
                                       {QuantityKind::upper_edge_fairness, 0.06, -inf, 0.25},
                                       {QuantityKind::top_left, 7.0, 3.0, inf},
                                       {QuantityKind::side_left, 8.0, 3.0, inf},
                                       {QuantityKind::step_width, 2.01, 1.9, 2.2},
                                       {QuantityKind::step_depth, 6.02, 5.95, 6.3}};
  const std::vector<JudgedSeries> judged = compare(plan, measures, settings);
  ASSERT_EQ(judged.size(), expected.size());
  for (std::size_t i = 0; i < expected.size(); ++i) {
    EXPECT_EQ(judged[i].kind, expected[i].kind);
    ASSERT_FALSE(judged[i].stations.empty()) << judged[i].quantity;
    const JudgedStation& first = judged[i].stations.front();
    EXPECT_EQ(first.value, expected[i].value) << judged[i].quantity;
    EXPECT_EQ(first.u95, drop_of(0.0).u95()) << judged[i].quantity;
    EXPECT_DOUBLE_EQ(first.lower, expected[i].lower) << judged[i].quantity;
    EXPECT_DOUBLE_EQ(first.upper, expected[i].upper) << judged[i].quantity;
    EXPECT_EQ(first.verdict, i == 0 ? Verdict::fail : Verdict::pass) << judged[i].quantity;
  }
}

TEST(Compare, EveryStepOfEveryChannelIsJudged) {
  Plan plan;
  PlannedChannel channel;
  channel.name = "edge binding";
  channel.width_tolerance_mm = channel.depth_tolerance_mm = {-0.15, 0.15};
  channel.steps = {{1.85, 5.85, 0, 0}, {2.5, 1.65, 1, 1}};
  plan.channels = {channel};
  Measures measures;
  ChannelMeasures measured;
  ChannelStation station;
  station.station_mm = 12.0;
  station.steps.resize(2);
  station.steps[0].width_mm = drop_of(1.85);
  station.steps[0].depth_mm = drop_of(5.42);
  station.steps[1].width_mm = drop_of(2.5);
  measured.stations = {station};
  measures.channels = {measured};
  CompareSettings settings;
  settings.channel_end_mm = 0.0;
  const std::vector<JudgedSeries> judged = compare(plan, measures, settings);
  ASSERT_EQ(judged.size(), 4U);
  EXPECT_EQ(judged[0].quantity, "step 1 width");
  EXPECT_EQ(judged[0].stations.at(0).verdict, Verdict::pass);
  EXPECT_EQ(judged[1].quantity, "step 1 depth");
  EXPECT_EQ(judged[1].stations.at(0).verdict, Verdict::fail);
  EXPECT_TRUE(judged[3].stations.empty()) << "what was not measured is not judged";
}

TEST(Compare, TheRoundEndsOfAChannelAreNotHeldAgainstThePlan) {
  Plan plan;
  PlannedChannel channel;
  channel.name = "edge binding";
  channel.width_tolerance_mm = channel.depth_tolerance_mm = {-0.15, 0.15};
  channel.steps = {{1.85, 5.85, 0, 0}};
  plan.channels = {channel};
  Measures measures;
  ChannelMeasures measured;
  for (const double s : {0.0, 2.0, 4.0, 6.0, 8.0, 10.0, 12.0, 14.0, 100.0, 102.0, 104.0, 106.0, 108.0}) {
    ChannelStation station;
    station.station_mm = s;
    station.steps = {{drop_of(1.85), drop_of(5.85)}};
    measured.stations.push_back(station);
  }
  measures.channels = {measured};
  const std::vector<JudgedSeries> judged = compare(plan, measures);
  // 6 mm at each end of each run: 6 and 8 of the first run stay, nothing of the second, which is 8 mm long.
  ASSERT_EQ(judged.at(0).stations.size(), 2U);
  EXPECT_EQ(judged[0].stations[0].station_mm, 6.0);
  EXPECT_EQ(judged[0].stations[1].station_mm, 8.0);
}

}  // namespace
}  // namespace rimwright
