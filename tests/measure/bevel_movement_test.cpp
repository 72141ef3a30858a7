// The bevel's movement along a run-out, from sections of a closed form.
#include "measure/bevel_movement.h"

#include <gtest/gtest.h>

#include <cmath>

#include "made_sections.h"
#include "measure/profile_frame.h"

namespace rimwright {
namespace {

constexpr double angle_deg = 124.0;
const double reach_a_drop = std::tan(radians_from_degrees(180.0 - angle_deg));

Expected plan(double deepest_mm = 0.0) {
  Expected expected;
  expected.bevel = ExpectedBevel{radians_from_degrees(angle_deg), 16.0};
  if (deepest_mm > 0.0) expected.channels.push_back({ExpectedCorner::top_side, {{2.0, deepest_mm}}});
  return expected;
}

// Sections 2 mm apart whose bevel drops by 9 + speed s + growth s^2 / 2 millimetres, s from the middle one.
std::vector<SectionPieces> sections(double speed, double growth) {
  std::vector<SectionPieces> all;
  for (int i = -10; i <= 10; ++i) {
    const double s = 2.0 * i;
    all.push_back(test::bevel_section(100.0 + s, 9.0 + speed * s + 0.5 * growth * s * s, angle_deg));
  }
  return all;
}

TEST(BevelMovement, TakesEdgesBackToTheStation) {
  Workers workers(1);
  const double speed = 0.4, growth = 0.03;
  const auto movements = bevel_movement(sections(speed, growth), plan(), 0.0, workers);
  const auto& middle = movements[10];
  ASSERT_TRUE(middle);
  for (const double ds : {-3.0, -1.0, 2.0, 3.3}) {
    const double drop = 9.0 + speed * ds + 0.5 * growth * ds * ds;
    // The upper edge, level along the top, and a wall's foot beside it; the lower edge, upright.
    const Vector2 upper = middle->moved_back({-drop * reach_a_drop, 0.0}, ds);
    EXPECT_NEAR(upper.x(), -9.0 * reach_a_drop, 1e-3);
    EXPECT_EQ(upper.y(), 0.0);
    const Vector2 foot = middle->moved_back({-drop * reach_a_drop - 2.0, -1.7}, ds);
    EXPECT_NEAR(foot.x(), -9.0 * reach_a_drop - 2.0, 1e-3);
    EXPECT_EQ(foot.y(), -1.7);
    const Vector2 lower = middle->moved_back({0.0, -drop}, ds);
    EXPECT_NEAR(lower.y(), -9.0, 1e-3);
    EXPECT_EQ(lower.x(), 0.0);
  }
}

// Against the points that two movements move, upper and lower edge, over all of a slab.
TEST(BevelMovement, HowFarTwoMoveAPointApart) {
  Workers workers(1);
  const auto one = bevel_movement(sections(0.4, 0.03), plan(), 0.0, workers)[10],
             other = bevel_movement(sections(0.38, 0.031), plan(), 0.0, workers)[10];
  ASSERT_TRUE(one && other);
  const double reach_mm = 1.5, stated = farthest_apart_mm(*one, *other, reach_mm);
  double farthest = 0.0;
  for (const Vector2& point : {Vector2(-30.0, 0.0), Vector2(0.0, -30.0)})
    for (int i = -100; i <= 100; ++i) {
      const double ds = reach_mm * i / 100.0;
      farthest = std::max(farthest, (one->moved_back(point, ds) - other->moved_back(point, ds)).norm());
    }
  EXPECT_GE(stated, farthest - 1e-12);
  EXPECT_LE(stated, 1.05 * farthest);  // speed and its growth may work against each other
  EXPECT_EQ(farthest_apart_mm(*one, *one, reach_mm), 0.0);
}

TEST(BevelMovement, NothingWhereItStandsStillOrIsNotSeen) {
  Workers workers(1);
  for (const auto& movement : bevel_movement(sections(0.0, 0.0), plan(), 0.0, workers)) EXPECT_FALSE(movement);
  auto gone = sections(0.4, 0.0);
  for (auto& section : gone) section.pieces.clear();
  for (const auto& movement : bevel_movement(gone, plan(), 0.0, workers)) EXPECT_FALSE(movement);
  for (const auto& movement : bevel_movement(sections(0.4, 0.0), {}, 0.0, workers)) EXPECT_FALSE(movement);
}

TEST(BevelMovement, NothingWhereChannelsFollowTheRim) {
  Workers workers(1);
  const auto movements = bevel_movement(sections(0.4, 0.0), plan(10.0), 0.0, workers);
  EXPECT_FALSE(movements[10]);     // 9 mm deep, and so is less than the channel
  EXPECT_TRUE(movements[10 + 5]);  // 13 mm
}

// In a run-out a ledge may pass for the bevel in some sections, or the bevel be seen in a short piece whose slope says
// little.
TEST(BevelMovement, FewSectionsOffTheirCourseDoNotCount) {
  Workers workers(1);
  auto some = sections(0.4, 0.03);
  some[9].pieces[0].middle_height_mm -= 2.0;
  some[13].pieces[0].middle_height_mm += 1.0;
  for (Piece* piece : {&some[8].pieces[0], &some[11].pieces[0]}) piece->slope += 0.1;
  const auto movements = bevel_movement(some, plan(), 0.0, workers);
  ASSERT_TRUE(movements[10]);
  EXPECT_NEAR(std::abs(movements[10]->speed), 0.4 * movements[10]->normal.y(), 0.02 * 0.4);
  EXPECT_NEAR(std::abs(movements[10]->speed_growth_per_mm), 0.03 * movements[10]->normal.y(), 0.1 * 0.03);
}

TEST(BevelMovement, OneSectionOffItsCourseDoesNotCount) {
  Workers workers(1);
  auto some = sections(0.4, 0.0);
  some[11].pieces[0].middle_height_mm += 0.5;
  const auto movements = bevel_movement(some, plan(), 0.0, workers);
  ASSERT_TRUE(movements[10]);
  const double expected = 0.4 * movements[10]->normal.y();
  EXPECT_NEAR(std::abs(movements[10]->speed), expected, 0.02 * expected);
}

TEST(BevelMovement, IsCarriedOnBeyondWhatIsKnown) {
  BevelMovement known;
  known.speed = 0.4;
  known.speed_growth_per_mm = 0.01;
  const std::vector<std::optional<BevelMovement>> movements{known, std::nullopt, std::nullopt};
  const auto beside = carried_on(movements, 1, 2.0, 0.03);
  ASSERT_EQ(beside.size(), 1u);
  EXPECT_NEAR(beside[0].speed, 0.42, 1e-12);
  EXPECT_TRUE(carried_on(movements, 2, 2.0, 0.03).empty());       // nothing beside it is known
  EXPECT_TRUE(carried_on(movements, 1, 2.0, 0.5).empty());        // too slow to be seen in so noisy a slab
  EXPECT_TRUE(carried_on({known, known}, 1, 2.0, 0.03).empty());  // no other than its own
}

}  // namespace
}  // namespace rimwright
