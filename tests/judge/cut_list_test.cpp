#include "judge/cut_list.h"

#include <gtest/gtest.h>

#include <cmath>
#include <numbers>

#include "plan/derive_steps.h"

namespace rimwright {
namespace {

constexpr double pi = std::numbers::pi;

Plan one_channel(ChannelCorner corner) {
  Plan plan;
  PlannedChannel channel;
  channel.name = "binding";
  channel.corner = corner;
  channel.strips = {{"binding", 2.0, 6.0}, {"line", 0.6, 2.0}};
  channel.steps = derive_steps(channel.strips, 0.0, 0.0);
  plan.channels = {channel};
  return plan;
}

// A round rim of radius r, walked from angle 0 through `turn`. The body lies on the left of the walk: turning left the
// rim bulges out, turning right it is a waist.
Measures round_rim(double radius_mm, double turn, bool closed, bool left = true) {
  Measures measures;
  const double length_mm = radius_mm * turn;
  for (double s = 0.0; s < length_mm - (closed ? 0.5 : 0.0); s += 1.0) {
    const double angle = (left ? 1.0 : -1.0) * s / radius_mm;
    measures.rim_station_mm.push_back(s);
    measures.rim_plan_mm.emplace_back(radius_mm * std::cos(angle), radius_mm * std::sin(angle));
  }
  measures.scan.rim_closed = closed;
  measures.scan.rim_length_mm = length_mm;
  measures.channels.resize(1);
  return measures;
}

void add_stations(Measures& measures, double from_mm, double to_mm) {
  for (double s = from_mm; s <= to_mm; s += 1.0) {
    ChannelStation station;
    station.station_mm = s;
    measures.channels[0].stations.push_back(station);
  }
}

// Closed form: a strip whose middle lies d inside an arc of radius r and angle a is (r - d) a long, and (r + d) a in a
// waist. Chords of 4 mm on a radius of 150 mm are short by (4 / 150)^2 / 24 = 0.003 %.
TEST(CutList, ABulgeAndAWaistHaveTheirClosedFormLength) {
  for (const bool bulge : {true, false}) {
    Measures measures = round_rim(150.0, 2.0, false, bulge);
    add_stations(measures, 30.0, 270.0);
    const CutList list = cut_list(one_channel(ChannelCorner::top_side), measures, Scale{});
    ASSERT_EQ(list.pieces.size(), 2u);
    const double angle = 240.0 / 150.0, sign = bulge ? 1.0 : -1.0;
    EXPECT_NEAR(list.pieces[0].length_mm.value, (150.0 - sign * 1.0) * angle, 240.0 * 1e-4);
    EXPECT_NEAR(list.pieces[1].length_mm.value, (150.0 - sign * 2.3) * angle, 240.0 * 1e-4);
    // Ten millimetres at each end, rounded up.
    EXPECT_GE(list.pieces[0].cut_mm, list.pieces[0].length_mm.value + 20.0);
    EXPECT_LT(list.pieces[0].cut_mm, list.pieces[0].length_mm.value + list.pieces[0].length_mm.u95() + 21.0);
  }
}

TEST(CutList, AWholeRoundIsOneClosedPiece) {
  Measures measures = round_rim(150.0, 2.0 * pi, true);
  add_stations(measures, 0.0, 2.0 * pi * 150.0 - 0.5);
  const CutList list = cut_list(one_channel(ChannelCorner::top_side), measures, Scale{});
  ASSERT_EQ(list.pieces.size(), 2u);
  EXPECT_TRUE(list.pieces[0].closed);
  EXPECT_NEAR(list.pieces[0].length_mm.value, 2.0 * pi * 149.0, 0.1);
}

// The bevel takes the rim from 300 to 500: the strip ends at both sides of it and runs on through the rim's start.
TEST(CutList, TheBevelSplitsAStripAndAHoleDoesNot) {
  Measures measures = round_rim(150.0, 2.0 * pi, true);
  add_stations(measures, 0.0, 300.0);
  add_stations(measures, 500.0, 700.0);
  add_stations(measures, 740.0, 942.0);  // 40 mm were not seen
  for (double s = 302.0; s < 499.0; s += 2.0) {
    BevelStation station;
    station.station_mm = s;
    measures.bevel.stations.push_back(station);
  }
  const CutList list = cut_list(one_channel(ChannelCorner::top_side), measures, Scale{});
  ASSERT_EQ(list.pieces.size(), 2u);  // one piece for each of the two strips
  EXPECT_DOUBLE_EQ(list.pieces[0].from_mm, 500.0);
  EXPECT_NEAR(list.pieces[0].to_mm, 300.0, 1e-9);
  EXPECT_NEAR(list.pieces[0].length_mm.value, (2.0 * pi * 150.0 - 200.0) * 149.0 / 150.0, 0.1);
  EXPECT_EQ(list.pieces[0].note, "40 mm of it was not seen");
}

// Along the bevel's upper edge the line lies `reach` further in.
TEST(CutList, AStripAlongTheUpperEdgeFollowsTheReach) {
  Measures measures = round_rim(150.0, 2.0, false);
  add_stations(measures, 50.0, 250.0);
  for (double s = 50.0; s <= 250.0; s += 2.0) {
    BevelStation station;
    station.station_mm = s;
    station.top_reach_mm.value = 20.0;
    measures.bevel.stations.push_back(station);
  }
  const CutList list = cut_list(one_channel(ChannelCorner::top_bevel), measures, Scale{});
  ASSERT_EQ(list.pieces.size(), 2u);
  EXPECT_NEAR(list.pieces[0].length_mm.value, 200.0 * (150.0 - 21.0) / 150.0, 0.05);
}

// A common scale error grows every length alike: u = 0.5 % of it, and the cut allows for it.
TEST(CutList, TheScaleOfTheScanIsCarried) {
  Measures measures = round_rim(150.0, 2.0, false);
  add_stations(measures, 0.0, 290.0);
  Scale scale;
  scale.relative_standard_u = 0.005;
  const CutList list = cut_list(one_channel(ChannelCorner::top_side), measures, scale);
  EXPECT_NEAR(list.pieces[0].length_mm.u(UncertaintySource::scale), 0.005 * list.pieces[0].length_mm.value, 1e-9);
  EXPECT_GE(list.pieces[0].cut_mm, list.pieces[0].length_mm.value * 1.0097 + 20.0);
}

TEST(CutList, WithoutARimItSaysSo) {
  Measures measures;
  measures.channels.resize(1);
  const CutList list = cut_list(one_channel(ChannelCorner::top_side), measures, Scale{});
  EXPECT_TRUE(list.pieces.empty());
  ASSERT_FALSE(list.notes.empty());
}

}  // namespace
}  // namespace rimwright
