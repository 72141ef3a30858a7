#include "judge/dry_fit.h"

#include <gtest/gtest.h>

#include <cmath>
#include <random>

#include "plan/derive_steps.h"

namespace rimwright {
namespace {

PlannedChannel binding_and_line() {
  PlannedChannel channel;
  channel.name = "edge binding";
  channel.strips = {{"plum binding", 1.8, 6.0}, {"pear line", 0.6, 1.8}};
  channel.glue_mm = 0.05;
  channel.proud_mm = 0.2;
  channel.width_tolerance_mm = {-0.15, 0.15};
  channel.depth_tolerance_mm = {-0.15, 0.15};
  channel.steps = derive_steps(channel.strips, channel.glue_mm, channel.proud_mm);
  return channel;
}

Measured measured(double value, double standard_u) {
  Measured m;
  m.value = value;
  m.u(UncertaintySource::point_noise) = standard_u;
  return m;
}

// A channel cut to plan but for the given departures of each step's width and depth.
ChannelMeasures cut_channel(const PlannedChannel& planned, double standard_u, double width_off_mm = 0.0,
                            double depth_off_mm = 0.0) {
  ChannelMeasures channel;
  for (double s = 0.0; s <= 100.0; s += 2.0) {
    ChannelStation station;
    station.station_mm = s;
    for (const PlannedStep& step : planned.steps) {
      station.steps.push_back(
          {measured(step.width_mm + width_off_mm, standard_u), measured(step.depth_mm + depth_off_mm, standard_u)});
    }
    channel.stations.push_back(station);
  }
  return channel;
}

void change_depth(ChannelMeasures& channel, std::size_t step, double from_mm, double to_mm, double by_mm) {
  for (ChannelStation& station : channel.stations) {
    if (station.station_mm >= from_mm && station.station_mm <= to_mm) station.steps[step].depth_mm.value += by_mm;
  }
}

// The property the plan's formulas must have: whatever the stack, a channel cut exactly to plan takes it flush by
// `proud` everywhere, without a gap, and asks for nothing.
TEST(DryFit, AChannelCutToPlanIsProudByPlanEverywhere) {
  constexpr unsigned seed = 7;
  SCOPED_TRACE("seed " + std::to_string(seed));
  std::mt19937 random(seed);
  std::uniform_real_distribution<double> thickness(0.3, 2.5), height(1.5, 7.0), small(0.0, 0.3);
  std::uniform_int_distribution<int> count(1, 6), corner(0, 2), later(0, 3);
  for (int trial = 0; trial < 300; ++trial) {
    PlannedChannel planned = binding_and_line();
    planned.corner = static_cast<ChannelCorner>(corner(random));
    planned.glue_mm = small(random);
    planned.proud_mm = small(random);
    planned.strips.clear();
    double height_mm = height(random);
    for (int i = count(random); i > 0; --i) {
      planned.strips.push_back({"s", thickness(random), height_mm, later(random) == 0});
      if (i % 2 == 0) height_mm *= 0.8;
    }
    planned.steps = derive_steps(planned.strips, planned.glue_mm, planned.proud_mm);
    const DryFit fit = dry_fit(planned, cut_channel(planned, 0.01));
    ASSERT_EQ(fit.stations.size(), 51u);
    EXPECT_EQ(fit.goes_in, Verdict::pass);
    EXPECT_EQ(fit.slots_open, Verdict::pass);
    EXPECT_TRUE(fit.mends.empty());
    for (const StationFit& station : fit.stations) {
      EXPECT_NEAR(station.stands_out_mm.value, 0.0, 1e-12);
      for (const StepFit& step : station.steps) {
        EXPECT_NEAR(step.proud_mm.value, planned.proud_mm, 1e-12);
        EXPECT_NEAR(step.gap_under_mm.value, 0.0, 1e-12);
        EXPECT_NEAR(step.gap_behind_mm.value, 0.0, 1e-12);
      }
      for (const SlotFit& slot : station.slots) EXPECT_NEAR(slot.width_left_mm.value, slot.needed_mm, 1e-12);
    }
  }
}

// By hand (common practice, no source): step 1 of the plan is 1.85 wide and 5.85 deep. Cut 1.95 wide and 5.60 deep the
// binding (6.0 high on 0.05 of glue) stands 6.05 - 5.60 = 0.45 proud, 0.25 higher than planned, with 0.10 behind it.
TEST(DryFit, NumbersOfAHandWorkedStation) {
  const PlannedChannel planned = binding_and_line();
  ChannelMeasures channel;
  ChannelStation station;
  station.steps = {{measured(1.95, 0.01), measured(5.60, 0.02)}, {measured(2.45, 0.01), measured(1.65, 0.02)}};
  channel.stations = {station};
  const DryFit fit = dry_fit(planned, channel);
  ASSERT_EQ(fit.stations.size(), 1u);
  EXPECT_NEAR(fit.stations[0].steps[0].proud_mm.value, 0.45, 1e-12);
  EXPECT_NEAR(fit.stations[0].steps[0].gap_under_mm.value, -0.25, 1e-12);
  EXPECT_NEAR(fit.stations[0].steps[0].gap_behind_mm.value, 0.10, 1e-12);
  // Step 2 needs 1.85 + 0.65 = 2.50 but its wall is at 2.45: the stack stands out 0.05.
  EXPECT_NEAR(fit.stations[0].steps[1].gap_behind_mm.value, -0.05, 1e-12);
  EXPECT_NEAR(fit.stations[0].stands_out_mm.value, 0.05, 1e-12);
  // Uncertainty is that of the measured depth and width.
  EXPECT_NEAR(fit.stations[0].steps[0].proud_mm.combined_u(), 0.02, 1e-12);
  EXPECT_NEAR(fit.stations[0].stands_out_mm.combined_u(), 0.01, 1e-12);
}

TEST(DryFit, AHighFloorIsRoutedDeeperByWhatIsMissing) {
  const PlannedChannel planned = binding_and_line();
  ChannelMeasures channel = cut_channel(planned, 0.01);
  change_depth(channel, 0, 20.0, 60.0, -0.43);
  const DryFit fit = dry_fit(planned, channel);
  ASSERT_EQ(fit.mends.size(), 1u);
  EXPECT_EQ(fit.mends[0].kind, MendKind::rerun_deeper);
  EXPECT_EQ(fit.mends[0].step, 0u);
  EXPECT_NEAR(fit.mends[0].amount_mm, 0.43, 1e-9);
  EXPECT_DOUBLE_EQ(fit.mends[0].from_mm, 20.0);
  EXPECT_DOUBLE_EQ(fit.mends[0].to_mm, 60.0);
}

TEST(DryFit, ALittleHighIsLeftForTheScraper) {
  const PlannedChannel planned = binding_and_line();
  ChannelMeasures channel = cut_channel(planned, 0.01);
  change_depth(channel, 1, 20.0, 60.0, -0.22);  // 0.42 proud: out of tolerance, but levelled like the rest
  const DryFit fit = dry_fit(planned, channel);
  ASSERT_EQ(fit.mends.size(), 1u);
  EXPECT_EQ(fit.mends[0].kind, MendKind::leave);
}

TEST(DryFit, ALowFloorGetsAShimOfItsDepth) {
  const PlannedChannel planned = binding_and_line();
  ChannelMeasures channel = cut_channel(planned, 0.01);
  change_depth(channel, 1, 40.0, 50.0, 0.5);
  const DryFit fit = dry_fit(planned, channel);
  ASSERT_EQ(fit.mends.size(), 1u);
  EXPECT_EQ(fit.mends[0].kind, MendKind::shim_under);
  EXPECT_NEAR(fit.mends[0].amount_mm, 0.5, 1e-9);
}

TEST(DryFit, ANearWallAllAlongIsMendedOnTheLineAndAShortOneOnTheWall) {
  const PlannedChannel planned = binding_and_line();
  ChannelMeasures channel = cut_channel(planned, 0.005);
  for (ChannelStation& station : channel.stations) station.steps[1].width_mm.value -= 0.19;
  const DryFit all_along = dry_fit(planned, channel);
  ASSERT_EQ(all_along.mends.size(), 1u);
  EXPECT_EQ(all_along.mends[0].kind, MendKind::thinner_line);
  EXPECT_NEAR(all_along.mends[0].amount_mm, 0.19, 1e-9);

  channel = cut_channel(planned, 0.005);
  for (ChannelStation& station : channel.stations) {
    if (station.station_mm >= 40.0 && station.station_mm <= 60.0) station.steps[1].width_mm.value -= 0.4;
  }
  const DryFit here = dry_fit(planned, channel);
  ASSERT_EQ(here.mends.size(), 1u);
  EXPECT_EQ(here.mends[0].kind, MendKind::pare_wall);
  EXPECT_EQ(here.goes_in, Verdict::fail);
}

// A wide channel leaves the stack loose: a shim as thick as the gap.
TEST(DryFit, AFarWallGetsAShimBehind) {
  const PlannedChannel planned = binding_and_line();
  ChannelMeasures channel = cut_channel(planned, 0.005);
  for (ChannelStation& station : channel.stations) {
    if (station.station_mm >= 40.0 && station.station_mm <= 60.0) station.steps[1].width_mm.value += 0.3;
  }
  const DryFit fit = dry_fit(planned, channel);
  ASSERT_EQ(fit.mends.size(), 1u);
  EXPECT_EQ(fit.mends[0].kind, MendKind::shim_behind);
  EXPECT_NEAR(fit.mends[0].amount_mm, 0.3, 1e-9);
  EXPECT_EQ(fit.goes_in, Verdict::pass);
}

// With U95 as wide as the tolerance nothing may pass or fail: the mend is a better look.
TEST(DryFit, AnUncertainChannelIsLookedAtAgain) {
  const PlannedChannel planned = binding_and_line();
  const DryFit fit = dry_fit(planned, cut_channel(planned, 0.2));
  EXPECT_EQ(fit.goes_in, Verdict::undecided);
  ASSERT_FALSE(fit.mends.empty());
  for (const Mend& mend : fit.mends) EXPECT_EQ(mend.kind, MendKind::look_again);
}

// By hand: the binding comes later; the line fills 0.65 of the second step. A second wall at 2.2 instead of 2.5 leaves
// 2.2 - 0.65 = 1.55 for a binding that needs 1.8 + 0.05.
TEST(DryFit, ASlotForALaterStripMustStayOpen) {
  PlannedChannel planned = binding_and_line();
  planned.strips[0].later = true;
  ChannelMeasures channel = cut_channel(planned, 0.01);
  EXPECT_EQ(dry_fit(planned, channel).slots_open, Verdict::pass);
  for (ChannelStation& station : channel.stations) station.steps[1].width_mm.value -= 0.3;
  const DryFit fit = dry_fit(planned, channel);
  EXPECT_EQ(fit.slots_open, Verdict::fail);
  EXPECT_NEAR(fit.stations[0].slots[0].width_left_mm.value, 1.55, 1e-12);
  EXPECT_NEAR(fit.stations[0].slots[0].needed_mm, 1.85, 1e-12);
}

TEST(DryFit, WhatWasNotMeasuredStaysUnknown) {
  const PlannedChannel planned = binding_and_line();
  ChannelMeasures channel = cut_channel(planned, 0.01);
  for (ChannelStation& station : channel.stations) {
    station.steps[0].width_mm = Measured::not_measured(RefusalReason::not_seen, "the wall was not seen");
  }
  const DryFit fit = dry_fit(planned, channel);
  EXPECT_FALSE(fit.stations[0].steps[0].gap_behind_mm.is_measured());
  EXPECT_FALSE(fit.stations[0].stands_out_mm.is_measured());
  EXPECT_EQ(fit.stations[0].goes_in, Verdict::undecided);
  EXPECT_EQ(fit.goes_in, Verdict::undecided);
  EXPECT_EQ(dry_fit(planned, ChannelMeasures{}).goes_in, Verdict::undecided);
}

}  // namespace
}  // namespace rimwright
