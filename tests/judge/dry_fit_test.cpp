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

// One station of a channel whose stack stands out by so much, each wall known to U95.
StationFit standing_out(double out_mm, double u95_mm) {
  PlannedChannel planned = binding_and_line();
  planned.proud_mm = 0.25;  // may stand out by so much; the width tolerance of 0.15 allows less
  ChannelMeasures channel = cut_channel(planned, 0.0, -out_mm);
  for (ChannelStation& station : channel.stations)
    for (StepMeasures& step : station.steps)
      step.width_mm.u(UncertaintySource::point_noise) = u95_mm / 1.959963984540054;
  return dry_fit(planned, channel).stations.front();
}

TEST(DryFit, GoesInByWholeIntervalsAgainstWhatMayStandProud) {
  EXPECT_EQ(standing_out(0.19, 0.05).goes_in, Verdict::pass);
  EXPECT_EQ(standing_out(0.21, 0.05).goes_in, Verdict::undecided);
  EXPECT_EQ(standing_out(0.29, 0.05).goes_in, Verdict::undecided);
  EXPECT_EQ(standing_out(0.31, 0.05).goes_in, Verdict::fail);

  PlannedChannel planned = binding_and_line();
  planned.proud_mm = 0.0;  // then what the width tolerance allows, 0.15
  EXPECT_EQ(dry_fit(planned, cut_channel(planned, 0.01, -0.12)).goes_in, Verdict::pass);
  EXPECT_EQ(dry_fit(planned, cut_channel(planned, 0.01, -0.18)).goes_in, Verdict::fail);
}

// A mend is called for where the whole interval lies outside the tolerance of 0.15, a better look where part of it
// does; U95 is 0.05.
TEST(DryFit, WhatIsClearIsMendedAndWhatIsNotIsLookedAt) {
  const PlannedChannel planned = binding_and_line();
  const double u = 0.05 / 1.959963984540054;
  const auto kind = [&](double width_off_mm, double depth_off_mm) {
    const DryFit fit = dry_fit(planned, cut_channel(planned, u, width_off_mm, depth_off_mm));
    return fit.mends.empty() ? std::string("none") : std::string(name_of(fit.mends.front().kind));
  };
  for (const double sign : {-1.0, 1.0}) {
    EXPECT_EQ(kind(0.09 * sign, 0.0), "none");
    EXPECT_EQ(kind(0.0, 0.09 * sign), "none");
    EXPECT_EQ(kind(0.11 * sign, 0.0), "look again");
    EXPECT_EQ(kind(0.0, 0.11 * sign), "look again");
    EXPECT_EQ(kind(0.19 * sign, 0.0), "look again");
    EXPECT_EQ(kind(0.0, 0.19 * sign), "look again");
  }
  EXPECT_EQ(kind(-0.21, 0.0), "thinner line");
  EXPECT_EQ(kind(0.21, 0.0), "thicker line");
  // 0.2 is planned proud. 0.5 is levelled, the doubt included: 0.2 + 0.24 + 0.05 is, 0.2 + 0.26 + 0.05 is not.
  EXPECT_EQ(kind(0.0, -0.24), "leave");
  EXPECT_EQ(kind(0.0, -0.26), "re-run deeper");
  // Too deep by less than is planned proud leaves less to level. The doubt counts: 0.2 - 0.21 < 0.05.
  EXPECT_EQ(kind(0.0, 0.21), "shim under");
}

TEST(DryFit, ALittleLowOfWhatStandsFarProudIsLeft) {
  PlannedChannel planned = binding_and_line();
  planned.proud_mm = 0.4;
  planned.steps = derive_steps(planned.strips, planned.glue_mm, planned.proud_mm);
  const double u = 0.05 / 1.959963984540054;
  const auto kind = [&](double depth_off_mm) {
    return dry_fit(planned, cut_channel(planned, u, 0.0, depth_off_mm)).mends.front().kind;
  };
  EXPECT_EQ(kind(0.34), MendKind::leave);       // 0.06 proud, give or take 0.05
  EXPECT_EQ(kind(0.36), MendKind::shim_under);  // 0.04 proud: perhaps below the face
}

// What the strips can take: 0.35 of the thickness of the thickest that is not the outermost, over half of the channel.
TEST(DryFit, AStripIsMadeThinnerOnlyAsFarAsItsDesignAllows) {
  PlannedChannel planned = binding_and_line();
  planned.strips = {
      {"plum binding", 1.8, 6.0}, {"pear line", 0.6, 1.8}, {"maple line", 1.0, 1.8}, {"pear line", 0.6, 1.8}};
  planned.steps = derive_steps(planned.strips, planned.glue_mm, planned.proud_mm);
  const auto mend = [&](double width_off_mm, double to_mm) {
    ChannelMeasures channel = cut_channel(planned, 0.005);
    for (ChannelStation& station : channel.stations)
      if (station.station_mm <= to_mm) station.steps[1].width_mm.value += width_off_mm;
    return dry_fit(planned, channel).mends.at(0);
  };
  EXPECT_EQ(mend(-0.34, 100.0).kind, MendKind::thinner_line);
  EXPECT_NE(mend(-0.34, 100.0).sentence.find("'maple line'"), std::string::npos);
  EXPECT_EQ(mend(-0.36, 100.0).kind, MendKind::pare_wall);
  EXPECT_EQ(mend(-0.34, 48.0).kind, MendKind::pare_wall) << "less than half of the channel";
  EXPECT_EQ(mend(0.34, 100.0).kind, MendKind::thicker_line);
  EXPECT_EQ(mend(0.36, 100.0).kind, MendKind::shim_behind);
  EXPECT_EQ(mend(0.34, 48.0).kind, MendKind::shim_behind);
  planned.strips = {{"plum binding", 1.8, 6.0}};  // alone it takes the change itself
  planned.steps = derive_steps(planned.strips, planned.glue_mm, planned.proud_mm);
  EXPECT_NE(dry_fit(planned, cut_channel(planned, 0.005, -0.3)).mends.at(0).sentence.find("'plum binding'"),
            std::string::npos);
}

TEST(DryFit, StretchesOfOneMendAndTheirWorstPlace) {
  const PlannedChannel planned = binding_and_line();
  ChannelMeasures channel = cut_channel(planned, 0.01);
  change_depth(channel, 0, 10.0, 20.0, -0.5);
  change_depth(channel, 0, 26.0, 36.0, -0.6);  // 6 mm away: one mend
  change_depth(channel, 0, 44.0, 54.0, -0.7);  // 8 mm away: another
  change_depth(channel, 0, 80.0, 82.0, -0.8);  // 2 mm long: a nick
  const DryFit fit = dry_fit(planned, channel);
  ASSERT_EQ(fit.mends.size(), 2u);
  EXPECT_DOUBLE_EQ(fit.mends[0].from_mm, 10.0);
  EXPECT_DOUBLE_EQ(fit.mends[0].to_mm, 36.0);
  EXPECT_NEAR(fit.mends[0].amount_mm, 0.6, 1e-9);
  EXPECT_NEAR(fit.mends[0].u95_mm, 1.96 * 0.01, 1e-5);
  EXPECT_DOUBLE_EQ(fit.mends[1].from_mm, 44.0);
  EXPECT_NEAR(fit.mends[1].amount_mm, 0.7, 1e-9);
}

// Beside a stretch that is clearly high the floor comes down over a few stations that are perhaps high: one mend.
TEST(DryFit, AnUnclearRimOfAClearStretchIsPartOfIt) {
  const PlannedChannel planned = binding_and_line();
  ChannelMeasures channel = cut_channel(planned, 0.01);
  change_depth(channel, 0, 20.0, 40.0, -0.6);
  change_depth(channel, 0, 42.0, 48.0, -0.15);
  change_depth(channel, 0, 70.0, 78.0, -0.15);  // this one stands alone
  const DryFit fit = dry_fit(planned, channel);
  ASSERT_EQ(fit.mends.size(), 2u);
  EXPECT_EQ(fit.mends[0].kind, MendKind::rerun_deeper);
  EXPECT_EQ(fit.mends[1].kind, MendKind::look_again);
  EXPECT_DOUBLE_EQ(fit.mends[1].from_mm, 70.0);
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

  // The line's slot has the second wall alone: the first, however near, leaves it its room. 0.15 less is allowed.
  planned.strips[0].later = false;
  planned.strips[1].later = true;
  channel = cut_channel(planned, 0.01);
  for (ChannelStation& station : channel.stations) station.steps[0].width_mm.value -= 1.0;
  EXPECT_EQ(dry_fit(planned, channel).slots_open, Verdict::pass);
  EXPECT_NEAR(dry_fit(planned, channel).stations[0].slots[0].depth_mm.value, 1.65, 1e-12);
  EXPECT_EQ(dry_fit(planned, cut_channel(planned, 0.01, -0.12)).slots_open, Verdict::pass);
  EXPECT_EQ(dry_fit(planned, cut_channel(planned, 0.01, -0.18)).slots_open, Verdict::fail);
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
  channel = cut_channel(planned, 0.01);  // the inner wall, which might be the nearer, is no better
  for (ChannelStation& station : channel.stations) {
    station.steps[1].width_mm = Measured::not_measured(RefusalReason::not_seen, "the wall was not seen");
  }
  EXPECT_EQ(dry_fit(planned, channel).goes_in, Verdict::undecided);
}

}  // namespace
}  // namespace rimwright
