#include "plan/check_plan.h"

#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include <cmath>

#include "plan/read_plan.h"

namespace rimwright {
namespace {

using testing::HasSubstr;

Plan read(const std::string& text) {
  Outcome<Plan> plan = read_plan_text(text, "plan");
  EXPECT_TRUE(plan.has_value()) << (plan ? "" : plan.error().sentence());
  return plan ? std::move(*plan) : Plan{};
}

std::string plan_text(const std::string& drop, const std::string& block, const std::string& line_height = "1.8",
                      const std::string& corner = "top-side") {
  return "instrument: T\nunits: mm\ntop: {thickness: 2.8}\nbevel:\n  angle: {nominal: 124, tolerance: 1.0}\n  drop: "
         "{nominal: " +
         drop + ", tolerance: 1.0}\n  straightness: 0.2\n  waviness: {band: [10, 80], limit: 0.15}\nblock: " + block +
         "\nchannels:\n  - name: edge\n    corner: " + corner +
         "\n    strips:\n      - {name: binding, thickness: 1.8, height: 6.0}\n      - {name: line, thickness: 0.6, "
         "height: " +
         line_height + "}\n    glue: 0.05\n    proud: 0.2\n    tolerance: {width: 0.15, depth: 0.15}\n";
}

bool warned(const std::vector<PlanWarning>& warnings, int line, const std::string& words) {
  for (const PlanWarning& warning : warnings) {
    if (warning.line == line && warning.text.find(words) != std::string::npos) return true;
  }
  return false;
}

// By hand: tan 56 deg = 1.482561, so 16 mm of drop reach 23.721 mm in; and back.
TEST(CheckPlan, ReachFollowsFromDropAndAngle) {
  EXPECT_NEAR(top_reach_for_drop_mm(16.0, 124.0), 23.72098, 1e-5);
  EXPECT_NEAR(drop_for_top_reach_mm(23.72098, 124.0), 16.0, 1e-5);
  EXPECT_NEAR(top_reach_for_drop_mm(10.0, 135.0), 10.0, 1e-12);  // a 45 degree bevel reaches in as far as it drops
}

// 16 mm of drop reach 23.72 mm in; at worst 17 mm and 123 degrees: 17 tan 57 = 26.18.
TEST(CheckPlan, TheBevelAgainstItsBlock) {
  EXPECT_FALSE(warned(check_plan(read(plan_text("16", "{top: 42, side: 24, keep: 3}"))), 5, "bevel reaches"));
  EXPECT_TRUE(warned(check_plan(read(plan_text("16", "{top: 26, side: 24, keep: 3}"))), 5, "bevel reaches 23.72 mm"));
  EXPECT_TRUE(warned(check_plan(read(plan_text("16", "{top: 28, side: 24, keep: 3}"))), 5, "may reach 26.18 mm"));
  EXPECT_FALSE(warned(check_plan(read(plan_text("16", "{top: 29.2, side: 24, keep: 3}"))), 5, "may reach"));
  EXPECT_TRUE(warned(check_plan(read(plan_text("16", "{top: 42, side: 18, keep: 3}"))), 5, "drop of 16.00 mm is more"));
  EXPECT_TRUE(warned(check_plan(read(plan_text("16", "{top: 42, side: 19.5, keep: 3}"))), 5, "may drop 17.00 mm"));
  // A drop that leaves just what is to be kept is none too many.
  EXPECT_FALSE(warned(check_plan(read(plan_text("16", "{top: 42, side: 19, keep: 3}"))), 5, "is more than"));
  EXPECT_FALSE(warned(check_plan(read(plan_text("16", "{top: 42, side: 20, keep: 3}"))), 5, "may drop"));
}

// A line 3.0 high makes a step 3.0 + 0.05 - 0.2 = 2.85 deep in a top 2.8 thick. The outermost step of an edge binding
// goes into the side by design and is no fault.
TEST(CheckPlan, AStepDeeperThanTheTopIsThick) {
  const std::string block = "{top: 42, side: 24, keep: 3}";
  EXPECT_TRUE(warned(check_plan(read(plan_text("16", block, "3.0"))), 15, "2.85 mm deep"));
  EXPECT_FALSE(warned(check_plan(read(plan_text("16", block, "2.9"))), 15, "deep"));
  Plan through = read(plan_text("16", block, "3.0"));  // just through is through
  through.top_thickness_mm = through.channels[0].steps[1].depth_mm;
  EXPECT_TRUE(warned(check_plan(through), 15, "2.85 mm deep"));
  EXPECT_FALSE(warned(check_plan(read(plan_text("16", block, "3.0"))), 14, "deep"));
  // In the top along the bevel every step counts.
  EXPECT_TRUE(warned(check_plan(read(plan_text("16", block, "1.8", "top-bevel"))), 14, "5.85 mm deep"));
}

// By hand: the binding's wall at 1.85 is reached at a drop of 1.85 / tan 56 = 1.248, the line's at 2.50 / tan 56
// = 1.686.
TEST(CheckPlan, TheLineFallsIntoTheRunOut) {
  EXPECT_TRUE(warned(check_plan(read(plan_text("16", "{top: 42, side: 24, keep: 3}"))), 15,
                     "between a drop of 1.25 mm and 1.69 mm"));
  EXPECT_TRUE(warned(check_plan(read(plan_text("1.5", "{top: 42, side: 24, keep: 3}"))), 11, "does not clear"));
}

// The wall of a top-bevel channel lies at 23.72 + 2.50 = 26.22; a block of 26 ends before it.
TEST(CheckPlan, AnEdgeChannelNeedsBlockBehindIt) {
  EXPECT_TRUE(
      warned(check_plan(read(plan_text("16", "{top: 26, side: 24, keep: 1}", "1.8", "top-bevel"))), 11, "26.22 mm"));
  EXPECT_FALSE(
      warned(check_plan(read(plan_text("16", "{top: 27, side: 24, keep: 1}", "1.8", "top-bevel"))), 11, "26.22 mm"));
  EXPECT_TRUE(
      warned(check_plan(read(plan_text("16", "{top: 42, side: 18, keep: 1}", "1.8", "side-bevel"))), 11, "18.50 mm"));
}

TEST(CheckPlan, AnInnocentPlanIsLeftInPeace) {
  EXPECT_TRUE(
      check_plan(
          read("instrument: T\nunits: mm\nchannels:\n  - {name: b, corner: top-side, strips: [{name: s, thickness: "
               "1.8, height: 6}], glue: 0, proud: 0.2, tolerance: {width: 0.1, depth: 0.1}}\n"))
          .empty());
}

}  // namespace
}  // namespace rimwright
