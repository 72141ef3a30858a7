// Patches beside edges of two planes.
#include "capture/photos/clear_edges.h"

#include <gtest/gtest.h>

#include <algorithm>
#include <cmath>

namespace rimwright {
namespace {

constexpr double half_along_mm = 2.2, half_across_mm = 0.3;

Patch ledge_patch(const Vector3& at, const Vector3& normal, const Vector3& along = Vector3::UnitX()) {
  Patch patch;
  patch.at_sheet_mm = at;
  patch.normal_sheet = normal;
  patch.along_sheet = along;
  patch.half_along_mm = half_along_mm;
  patch.half_across_mm = half_across_mm;
  return patch;
}

bool is_kept(std::vector<Patch> patches, const Patch& asked) {
  patches.push_back(asked);
  const auto kept = clear_edges(patches, {});
  return std::any_of(kept.begin(), kept.end(), [&](const Patch& p) { return p.at_sheet_mm == asked.at_sheet_mm; });
}

// A floor z = 0 from y = 0 on; at y = 0 it ends in a wall that falls away from it (convex) or rises (concave).
std::vector<Patch> floor_and_wall(bool convex) {
  std::vector<Patch> patches;
  for (double x = -5.0; x <= 5.0; x += 1.0) {
    for (double y = 0.5; y <= 3.0; y += 0.25) patches.push_back(ledge_patch({x, y, 0}, {0, 0, 1}));
    for (double z = 0.5; z <= 3.0; z += 0.25)
      patches.push_back(ledge_patch({x, 0, convex ? -z : z}, {0, convex ? -1.0 : 1.0, 0}));
  }
  return patches;
}

TEST(ClearEdges, APatchKeepsHalfItsWidthFromTheEdgeOnItsOwnSide) {
  for (const bool convex : {true, false}) {
    const auto patches = floor_and_wall(convex);
    EXPECT_TRUE(is_kept(patches, ledge_patch({0.1, half_across_mm + 0.02, 0}, {0, 0, 1}))) << convex;
    EXPECT_FALSE(is_kept(patches, ledge_patch({0.1, half_across_mm - 0.02, 0}, {0, 0, 1}))) << convex;
    // Beyond the edge the floor goes on in the air, or in the wood: nothing of it is there.
    EXPECT_FALSE(is_kept(patches, ledge_patch({0.1, -half_across_mm - 0.1, 0}, {0, 0, 1}))) << convex;
  }
}

TEST(ClearEdges, APatchAskewToTheEdgeReachesItWithItsLength) {
  const auto patches = floor_and_wall(true);
  const Vector3 along(std::cos(0.6), std::sin(0.6), 0.0);
  const double reach_mm =
      half_along_mm * (std::sin(0.6) - ClearEdgesSettings{}.askew_free) + half_across_mm * std::cos(0.6);
  EXPECT_FALSE(is_kept(patches, ledge_patch({0.1, reach_mm - 0.05, 0}, {0, 0, 1}, along)));
  EXPECT_TRUE(is_kept(patches, ledge_patch({0.1, reach_mm + 0.05, 0}, {0, 0, 1}, along)));
}

TEST(ClearEdges, FewWitnessesSayNothing) {
  std::vector<Patch> patches;
  for (double x = -5.0; x <= 5.0; x += 1.0) patches.push_back(ledge_patch({x, 0.2, 0}, {0, 0, 1}));
  const std::size_t alone = patches.size();
  for (const double x : {-0.5, 0.5}) patches.push_back(ledge_patch({x, 0, -1}, {0, -1, 0}));
  EXPECT_EQ(clear_edges(patches, {}).size(), alone + 2);
}

}  // namespace
}  // namespace rimwright
