#include "judge/ready_to_glue.h"

#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include <algorithm>

#include "plan/derive_steps.h"

namespace rimwright {
namespace {

Measured measured(double value, double standard_u = 0.01) {
  Measured m;
  m.value = value;
  m.u(UncertaintySource::point_noise) = standard_u;
  return m;
}

Inspection sound_inspection() {
  Inspection inspection;
  PlannedChannel channel;
  channel.name = "edge binding";
  channel.strips = {{"binding", 1.8, 6.0}};
  channel.glue_mm = 0.05;
  channel.proud_mm = 0.2;
  channel.width_tolerance_mm = channel.depth_tolerance_mm = {-0.15, 0.15};
  channel.steps = derive_steps(channel.strips, 0.05, 0.2);
  inspection.plan.channels = {channel};
  inspection.plan.bevel = PlannedBevel{};
  BevelStation station;
  station.angle_deg = measured(124.0);
  inspection.measures.bevel.stations = {station};
  ChannelMeasures measures;
  for (double s = 0.0; s < 50.0; s += 2.0) {
    ChannelStation at;
    at.station_mm = s;
    at.steps = {{measured(channel.steps[0].width_mm), measured(channel.steps[0].depth_mm)}};
    measures.stations.push_back(at);
  }
  inspection.measures.channels = {measures};
  inspection.verdict = Verdict::pass;
  return inspection;
}

std::vector<DryFit> fits_of(const Inspection& inspection) {
  std::vector<DryFit> fits;
  for (const ChannelMeasures& channel : inspection.measures.channels) {
    fits.push_back(dry_fit(inspection.plan.channels[channel.planned_channel], channel));
  }
  return fits;
}

std::size_t count(const GlueCheck& check, GlueCheckKind kind) {
  return static_cast<std::size_t>(
      std::count_if(check.items.begin(), check.items.end(), [&](const auto& item) { return item.kind == kind; }));
}

TEST(ReadyToGlue, ASoundJobPassesWithItsCautions) {
  const Inspection inspection = sound_inspection();
  const GlueCheck check = ready_to_glue(inspection, fits_of(inspection));
  EXPECT_EQ(check.ready, Verdict::pass);
  EXPECT_EQ(count(check, GlueCheckKind::passes), 2u);
  EXPECT_EQ(count(check, GlueCheckKind::mend_first), 0u);
  EXPECT_GE(count(check, GlueCheckKind::seal_first), 1u);
  EXPECT_GE(count(check, GlueCheckKind::caution), 2u);
  EXPECT_TRUE(std::any_of(check.items.begin(), check.items.end(), [](const auto& item) {
    return item.text.find("local codes and licensed practice") != std::string::npos;
  }));
}

TEST(ReadyToGlue, AFindingMustBeMendedFirst) {
  Inspection inspection = sound_inspection();
  inspection.findings = {{"bevel", "angle", 10, 20, Verdict::fail, {}, "plane the heel"}};
  const GlueCheck check = ready_to_glue(inspection, fits_of(inspection));
  EXPECT_EQ(check.ready, Verdict::fail);
  EXPECT_EQ(check.items.front().kind, GlueCheckKind::passes);  // the channel still does
  EXPECT_EQ(count(check, GlueCheckKind::mend_first), 1u);
  EXPECT_EQ(count(check, GlueCheckKind::passes), 1u);
}

TEST(ReadyToGlue, ATightSlotIsMendedAndAnUnclearOneTried) {
  Inspection inspection = sound_inspection();
  inspection.plan.channels[0].strips[0].later = true;
  EXPECT_EQ(ready_to_glue(inspection, fits_of(inspection)).ready, Verdict::pass);
  for (ChannelStation& station : inspection.measures.channels[0].stations) station.steps[0].width_mm.value -= 0.145;
  const GlueCheck unclear = ready_to_glue(inspection, {fits_of(inspection)});
  EXPECT_EQ(unclear.ready, Verdict::undecided);
  EXPECT_TRUE(std::any_of(unclear.items.begin(), unclear.items.end(), [](const auto& item) {
    return item.kind == GlueCheckKind::undecided &&
           item.text.find("whether the later strip will go in") != std::string::npos;
  }));
  for (ChannelStation& station : inspection.measures.channels[0].stations) station.steps[0].width_mm.value -= 0.1;
  const GlueCheck tight = ready_to_glue(inspection, fits_of(inspection));
  EXPECT_EQ(tight.ready, Verdict::fail);
  EXPECT_TRUE(std::any_of(tight.items.begin(), tight.items.end(), [](const auto& item) {
    return item.kind == GlueCheckKind::mend_first &&
           item.text.find("slot for a later strip is too tight") != std::string::npos;
  }));
}

TEST(ReadyToGlue, UndecidedAndUnmeasuredAreNotReady) {
  Inspection inspection = sound_inspection();
  inspection.findings = {{"edge binding", "step 1 depth", 10, 20, Verdict::undecided, {}, "scan closer"}};
  EXPECT_EQ(ready_to_glue(inspection, fits_of(inspection)).ready, Verdict::undecided);

  inspection = sound_inspection();
  inspection.measures.channels[0].stations.clear();
  const GlueCheck unseen = ready_to_glue(inspection, fits_of(inspection));
  EXPECT_EQ(unseen.ready, Verdict::undecided);
  EXPECT_EQ(count(unseen, GlueCheckKind::not_measured), 1u);
  // Nothing pretends to be measured: the channel is not among those that pass.
  EXPECT_TRUE(std::none_of(unseen.items.begin(), unseen.items.end(), [](const auto& item) {
    return item.kind == GlueCheckKind::passes && item.feature == "edge binding";
  }));

  inspection = sound_inspection();
  inspection.measures.gaps = {{10.0, 30.0, "bevel", {RefusalReason::not_seen, "a clamp hid the face", ""}}};
  const GlueCheck gap = ready_to_glue(inspection, fits_of(inspection));
  EXPECT_EQ(gap.ready, Verdict::undecided);
  EXPECT_EQ(count(gap, GlueCheckKind::not_measured), 1u);

  // Stretches that share feature and reason share a line, which names the channel as the plan does.
  const Refusal unseen_floor{RefusalReason::not_seen, "the floor is not seen", ""};
  inspection.measures.gaps = {{10.0, 30.0, "channel 1 step 1", unseen_floor},
                              {40.0, 44.0, "channel 1 step 1", {RefusalReason::not_seen, "the wall is not seen", ""}},
                              {50.0, 70.0, "channel 1 step 1", unseen_floor}};
  const GlueCheck gaps = ready_to_glue(inspection, fits_of(inspection));
  EXPECT_EQ(count(gaps, GlueCheckKind::not_measured), 2u);
  EXPECT_TRUE(std::any_of(gaps.items.begin(), gaps.items.end(), [](const auto& item) {
    return item.feature == "edge binding, step 1" &&
           item.text == "from 10 to 30 mm, from 50 to 70 mm: the floor is not seen; look there yourself";
  }));
}

}  // namespace
}  // namespace rimwright
