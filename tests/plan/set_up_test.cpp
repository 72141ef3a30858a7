#include "plan/set_up.h"

#include <gtest/gtest.h>

#include <cmath>

#include "plan/derive_steps.h"

namespace rimwright {
namespace {

Plan binding_plan(ChannelCorner corner) {
  Plan plan;
  plan.bevel = PlannedBevel{};
  plan.bevel->angle_deg.nominal = 124.0;
  plan.bevel->drop_mm.nominal = 12.0;
  PlannedChannel channel;
  channel.name = "binding";
  channel.corner = corner;
  channel.strips = {{"binding", 1.8, 6.0}, {"line", 0.6, 1.8}};
  channel.glue_mm = 0.05;
  channel.proud_mm = 0.2;
  channel.width_tolerance_mm = {-0.15, 0.15};
  channel.steps = derive_steps(channel.strips, channel.glue_mm, channel.proud_mm);
  plan.channels = {channel};
  return plan;
}

// Common practice, no source: a bearing-guided cutter of diameter D with a bearing B cuts (D - B) / 2 deep into the
// edge. By hand: 12.7 and 9.0 give 1.85; for a width of 1.85 a 12.7 cutter needs 12.7 - 3.7 = 9.0.
TEST(SetUpOfTheRouter, BearingAndWidthUndoEachOther) {
  EXPECT_NEAR(width_from_bearing_mm(12.7, 9.0), 1.85, 1e-12);
  EXPECT_NEAR(bearing_for_width_mm(12.7, 1.85), 9.0, 1e-12);
  for (const double width_mm : {0.5, 1.85, 2.5, 4.0}) {
    EXPECT_NEAR(width_from_bearing_mm(12.7, bearing_for_width_mm(12.7, width_mm)), width_mm, 1e-12);
  }
}

// Common practice, no source: a follower F with a cutter D runs its near edge (F - D) / 2 and its far edge (F + D) / 2
// from the template. By hand: F 16, D 6: 5 and 11; the groove between them is the cutter's width.
TEST(SetUpOfTheRouter, FollowerAndTemplate) {
  EXPECT_NEAR(near_edge_from_template_mm(6.0, 16.0), 5.0, 1e-12);
  EXPECT_NEAR(far_edge_from_template_mm(6.0, 16.0), 11.0, 1e-12);
  EXPECT_NEAR(far_edge_from_template_mm(6.0, 16.0) - near_edge_from_template_mm(6.0, 16.0), 6.0, 1e-12);
}

// Common practice, no source: interior angle and base tilt add to 180.
TEST(SetUpOfTheRouter, BaseTilt) {
  EXPECT_NEAR(base_tilt_square_to_side_deg(124.0), 56.0, 1e-12);
  // The two tilts are square to each other: one axis square to the side, the other in line with it.
  EXPECT_NEAR(base_tilt_square_to_side_deg(124.0) + base_tilt_in_line_with_side_deg(124.0), 90.0, 1e-12);
}

TEST(SetUpOfTheRouter, TheShallowWideStepComesFirst) {
  const SetUpSheet sheet = set_up(binding_plan(ChannelCorner::top_side));
  ASSERT_EQ(sheet.passes.size(), 2u);
  EXPECT_EQ(sheet.passes[0].step, 1u);
  EXPECT_NEAR(sheet.passes[0].depth_mm, 1.65, 1e-12);
  EXPECT_NEAR(sheet.passes[1].depth_mm, 5.85, 1e-12);
}

// By hand: width 1.85. Cutter 12.7 wants 9.0; of 8.0 and 9.2 the nearer is 9.2, which gives (12.7 - 9.2) / 2 = 1.75,
// 0.10 narrow and within 0.15. Cutter 3.0 wants 3.0 - 3.7 < 0: too slender.
TEST(SetUpOfTheRouter, TheNearestBearingAtHandAndTheWidthItGives) {
  Plan plan = binding_plan(ChannelCorner::top_side);
  plan.router.cutters_mm = {3.0, 12.7};
  plan.router.bearings_mm = {8.0, 9.2, 20.0};
  const SetUpSheet sheet = set_up(plan);
  const RoutingPass& pass = sheet.passes[1];
  ASSERT_EQ(pass.bearings.size(), 2u);
  EXPECT_DOUBLE_EQ(pass.bearings[0].cutter_mm, 12.7);  // the one that works comes first
  EXPECT_DOUBLE_EQ(*pass.bearings[0].nearest_bearing_mm, 9.2);
  EXPECT_NEAR(*pass.bearings[0].width_it_gives_mm, 1.75, 1e-12);
  EXPECT_TRUE(pass.bearings[0].within_tolerance);
  EXPECT_LE(pass.bearings[1].wanted_bearing_mm, 0.0);
  EXPECT_FALSE(pass.bearings[1].nearest_bearing_mm.has_value());
  EXPECT_TRUE(pass.templates.empty());
}

// Width 1.85 +- 0.15: of one bearing at hand 8.7 gives (12.7 - 8.7) / 2 = 2.00 and 9.3 gives 1.70, both just allowed.
// A bearing as large as the cutter lets it cut nothing.
TEST(SetUpOfTheRouter, ABearingAtTheLimitOfTheTolerance) {
  const auto choice = [](double bearing_mm) {
    Plan plan = binding_plan(ChannelCorner::top_side);
    plan.router.cutters_mm = {12.7};
    plan.router.bearings_mm = {bearing_mm};
    return set_up(plan).passes[1].bearings.at(0);
  };
  EXPECT_TRUE(choice(8.7).within_tolerance);
  EXPECT_FALSE(choice(8.68).within_tolerance);
  EXPECT_TRUE(choice(9.3).within_tolerance);
  EXPECT_FALSE(choice(9.32).within_tolerance);
  EXPECT_TRUE(choice(12.6).nearest_bearing_mm.has_value());
  EXPECT_FALSE(choice(12.7).nearest_bearing_mm.has_value());
}

TEST(SetUpOfTheRouter, WhatCannotWorkComesLast) {
  Plan plan = binding_plan(ChannelCorner::top_side);
  plan.router.cutters_mm = {3.0, 12.7};  // the first is too slender; for the second a bearing is yet to be found
  EXPECT_DOUBLE_EQ(set_up(plan).passes[1].bearings.at(0).cutter_mm, 12.7);
  Plan along_edge = binding_plan(ChannelCorner::top_bevel);
  along_edge.router.cutters_mm = along_edge.router.followers_mm = {6.0};  // a follower as wide as the cutter is cut
  EXPECT_TRUE(set_up(along_edge).passes[0].templates.empty());
}

// By hand: wall 2.50 from the bevel's edge, cutter 6, follower 16. Template beyond: its edge 2.5 + 5 = 7.5 away from
// the bevel. Template on the bevel's side: 2.5 - 11 = -8.5, out over the bevel. Either way the wall comes out at 2.50.
TEST(SetUpOfTheRouter, TheTemplatePutsTheWallWhereThePlanHasIt) {
  Plan plan = binding_plan(ChannelCorner::top_bevel);
  plan.router.cutters_mm = {6.0};
  plan.router.followers_mm = {5.0, 16.0};  // the first is smaller than the cutter and cannot hold it
  const SetUpSheet sheet = set_up(plan);
  ASSERT_EQ(sheet.passes[0].templates.size(), 1u);
  const TemplateChoice& choice = sheet.passes[0].templates[0];
  EXPECT_NEAR(choice.template_beyond_mm, 7.5, 1e-12);
  EXPECT_NEAR(choice.template_before_mm, -8.5, 1e-12);
  EXPECT_NEAR(choice.template_beyond_mm - choice.near_edge_mm, 2.5, 1e-12);
  EXPECT_NEAR(choice.template_before_mm + choice.far_edge_mm, 2.5, 1e-12);
  EXPECT_TRUE(sheet.passes[0].bearings.empty());
}

}  // namespace
}  // namespace rimwright
