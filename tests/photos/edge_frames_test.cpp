// Edges of the bevel, on planes whose meeting lines are known in closed form.
#include "capture/photos/edge_frames.h"

#include <gtest/gtest.h>

#include <cmath>
#include <numbers>

#include "core/frames.h"

namespace rimwright {
namespace {

Patch patch_at(const Vector3& at, const Vector3& normal) {
  Patch patch;
  patch.at_sheet_mm = at;
  patch.normal_sheet = normal;
  patch.along_sheet = normal.cross(std::abs(normal.z()) < 0.9 ? Vector3::UnitZ() : Vector3::UnitX()).normalized();
  return patch;
}

// A straight rim along x: side y = 0 facing -y, top z = 0. The bevel cuts off drop_mm at x = 0 and `slope` more each
// millimetre; seen square to the rim it stands 124 degrees from the side.
struct Block {
  double drop_mm = 12.0, slope = 0.0;
  double reach_a_drop = std::tan(radians_from_degrees(180.0 - 124.0));

  // The plane through the lower edge (x, 0, -drop - slope x) and the upper (x, reach (drop + slope x), 0).
  [[nodiscard]] Vector3 bevel_normal() const { return Vector3(slope, -1.0 / reach_a_drop, 1.0).normalized(); }
  [[nodiscard]] double drop_at(double x) const { return drop_mm + slope * x; }
  [[nodiscard]] std::vector<Patch> patches() const {
    std::vector<Patch> all;
    for (double x = -40.0; x <= 40.0; x += 1.0) {
      const double drop = std::max(0.0, drop_at(x)), reach = drop * reach_a_drop;
      for (double z = -drop - 1.0; z > -40.0; z -= 1.0) all.push_back(patch_at({x, 0.0, z}, -Vector3::UnitY()));
      for (double y = reach + 1.0; y < 45.0; y += 1.0) all.push_back(patch_at({x, y, 0.0}, Vector3::UnitZ()));
      for (double share = 0.05; share < 1.0 && drop > 1.0; share += 0.1)
        all.push_back(patch_at({x, share * reach, -(1.0 - share) * drop}, bevel_normal()));
    }
    return all;
  }
};

std::vector<std::vector<RimFrame>> edges_of(const Block& block) {
  const auto patches = block.patches();
  return edge_frames(rim_sections(patches, rim_frames(patches, {}), {}), {});
}

class EdgeFrames : public testing::TestWithParam<double> {};

TEST_P(EdgeFrames, RunAlongTheLinesWhereTheFacesMeet) {
  Block block;
  block.slope = GetParam();
  const auto runs = edges_of(block);
  const Vector3 along_upper = Vector3(1.0, block.reach_a_drop * block.slope, 0.0).normalized();
  const Vector3 along_lower = Vector3(1.0, 0.0, -block.slope).normalized();
  std::size_t upper = 0, lower = 0;
  for (const auto& run : runs) {
    for (const RimFrame& frame : run) {
      const double x = frame.corner_mm.x(), drop = block.drop_at(x);
      if (std::abs(x) > 25.0 || drop < 6.0) continue;  // where all patches that count are there
      if (std::abs(frame.corner_mm.z()) < 0.5 && frame.corner_mm.y() > 1.0) {
        ++upper;
        EXPECT_NEAR(frame.corner_mm.y(), drop * block.reach_a_drop, 0.02);
        EXPECT_NEAR(std::abs(frame.along.dot(along_upper)), 1.0, 1e-4);
        EXPECT_NEAR(frame.up.z(), 1.0, 1e-4);
        EXPECT_LT(frame.out.y(), 0.0);
      } else if (std::abs(frame.corner_mm.y()) < 0.5 && frame.corner_mm.z() < -1.0) {
        ++lower;
        EXPECT_NEAR(frame.corner_mm.z(), -drop, 0.02);
        EXPECT_NEAR(std::abs(frame.along.dot(along_lower)), 1.0, 1e-4);
        EXPECT_NEAR(frame.out.y(), -1.0, 1e-4);
        EXPECT_GT(frame.up.z(), 0.0);
      }
      EXPECT_NEAR(frame.along.dot(frame.out), 0.0, 1e-9);
      EXPECT_NEAR(frame.along.cross(frame.up).dot(frame.out), 1.0, 1e-9);
    }
  }
  EXPECT_GT(upper, 25U);
  EXPECT_EQ(upper, lower);
}

INSTANTIATE_TEST_SUITE_P(Slopes, EdgeFrames, testing::Values(0.0, 0.25, -0.5));

TEST(EdgeFrames, TheRimsOwnStayWhereTheBevelIsShallowAndOnlyThere) {
  Block block;
  block.slope = 0.25;
  std::size_t shallow = 0;
  for (const auto& run : edges_of(block)) {
    for (const RimFrame& frame : run) {
      if (frame.corner_mm.norm() > 25.0 || std::abs(frame.corner_mm.y()) > 0.5 || std::abs(frame.corner_mm.z()) > 0.5)
        continue;
      ++shallow;
      EXPECT_LT(block.drop_at(frame.corner_mm.x()), EdgeFramesSettings{}.shallow_mm + 0.1);
    }
  }
  // From x = -25 to where the drop is 8 mm, x = -16.
  EXPECT_NEAR(static_cast<double>(shallow), 9.0, 2.0);
}

TEST(EdgeFrames, WithoutBevelTheRimsOwn) {
  Block block;
  block.drop_mm = 0.0;
  const auto patches = block.patches();
  const auto rim = rim_frames(patches, {});
  const auto runs = edge_frames(rim_sections(patches, rim, {}), {});
  ASSERT_EQ(runs.size(), rim.size());
  for (std::size_t i = 0; i < rim.size(); ++i) EXPECT_EQ(runs[i].size(), rim[i].size());
}

}  // namespace
}  // namespace rimwright
