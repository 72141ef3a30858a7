// Where the rim runs, on bodies whose outline is known in closed form.
#include "capture/photos/rim_frames.h"

#include <gtest/gtest.h>

#include <cmath>
#include <numbers>

namespace rimwright {
namespace {

constexpr double radius_mm = 60.0;

// A drum: upright side and level top, patches about 2 mm apart, over a part of the round.
std::vector<Patch> drum(double from_rad, double to_rad) {
  std::vector<Patch> patches;
  const auto add = [&](const Vector3& at, const Vector3& normal) {
    Patch patch;
    patch.at_sheet_mm = at;
    patch.normal_sheet = normal;
    patches.push_back(patch);
  };
  const double step = 2.0 / radius_mm;
  for (double a = from_rad; a < to_rad; a += step) {
    const Vector3 out(std::cos(a), std::sin(a), 0.0);
    for (double z = -3.0; z > -30.0; z -= 2.0) add(radius_mm * out + Vector3(0, 0, z), out);
    for (double r = radius_mm - 5.0; r > 20.0; r -= 2.0) add(r * out, Vector3::UnitZ());
  }
  return patches;
}

// A plane of 8 mm to either side of a place on the circle lies inside it by up to its mean sagitta, 8^2 / (6 radius).
constexpr double sagitta_mm = 8.0 * 8.0 / (6.0 * radius_mm);

TEST(RimFrames, AClosedRimIsWalkedOnce) {
  const auto runs = rim_frames(drum(0.0, 2.0 * std::numbers::pi), {});
  ASSERT_EQ(runs.size(), 1U);
  const double length_mm = 2.0 * std::numbers::pi * radius_mm;
  // A frame each millimetre; the last may come up to two short of the first, and steps shrink with the sagitta.
  EXPECT_NEAR(static_cast<double>(runs[0].size()), length_mm, 2.0 + 2.0 * std::numbers::pi * sagitta_mm + 4.0);
  for (const RimFrame& frame : runs[0]) {
    EXPECT_NEAR(frame.corner_mm.head<2>().norm(), radius_mm, sagitta_mm + 0.1);
    EXPECT_NEAR(frame.corner_mm.z(), 0.0, 0.05);
    EXPECT_GT(frame.out.dot(frame.corner_mm.normalized()), 0.99);
  }
}

TEST(RimFrames, AnOpenRimIsWalkedToBothEnds) {
  const double angle = std::numbers::pi / 2;
  const auto runs = rim_frames(drum(0.0, angle), {});
  ASSERT_EQ(runs.size(), 1U);
  // It ends where fewer patches than a plane needs are within reach: at most the reach short of, or beyond, each end.
  EXPECT_NEAR(static_cast<double>(runs[0].size()), radius_mm * angle, 2.0 * RimFramesSettings{}.side_reach_mm);
  for (std::size_t i = 1; i < runs[0].size(); ++i)
    EXPECT_LT((runs[0][i].corner_mm - runs[0][i - 1].corner_mm).norm(), 3.0) << "frame " << i;
}

// Beside a bevel a ledge's wall stands upright far in from the side, and may come first of all patches.
TEST(RimFrames, TheWallOfALedgeIsNoRim) {
  std::vector<Patch> patches;
  for (double a = 0.2; a < 1.2; a += 2.0 / radius_mm) {
    const Vector3 out(std::cos(a), std::sin(a), 0.0);
    for (const double z : {-0.4, -0.8, -1.2}) {
      Patch wall;
      wall.at_sheet_mm = (radius_mm - 22.0) * out + Vector3(0, 0, z);
      wall.normal_sheet = out;
      patches.push_back(wall);
    }
  }
  const auto all = drum(0.0, std::numbers::pi / 2);
  patches.insert(patches.end(), all.begin(), all.end());
  const auto runs = rim_frames(patches, {});
  ASSERT_EQ(runs.size(), 1U);
  for (const RimFrame& frame : runs[0]) {
    const double angle = std::atan2(frame.corner_mm.y(), frame.corner_mm.x());
    if (angle < 0.2 || angle > 1.3) continue;  // at its ends the side is seen to one side only
    EXPECT_NEAR(frame.corner_mm.head<2>().norm(), radius_mm, sagitta_mm + 0.1);
  }
}

TEST(RimFrames, NoSideNoFrames) { EXPECT_TRUE(rim_frames({}, {}).empty()); }

}  // namespace
}  // namespace rimwright
