// What is kept of the patches beside a rim whose faces and ledges are planes.
#include "capture/photos/drop_ledges.h"

#include <gtest/gtest.h>

#include <algorithm>
#include <cmath>

#include "core/frames.h"

namespace rimwright {
namespace {

Patch patch_at(const Vector3& at, const Vector3& normal) {
  Patch patch;
  patch.at_sheet_mm = at;
  patch.normal_sheet = normal.normalized();
  patch.along_sheet = Vector3::UnitX();
  return patch;
}

std::vector<Patch> kept_of(const std::vector<Patch>& patches) {
  const auto sections = rim_sections(patches, rim_frames(patches, {}), {});
  return drop_ledges(patches, sections, {});
}

// A straight rim along x, side y = 0 facing -y, top z = 0, both from so far off the corner.
void add_faces(std::vector<Patch>& patches, double side_from_mm, double top_from_mm, double side_step_mm = 1.0) {
  for (double x = -40.0; x <= 40.0; x += 1.0) {
    for (double z = -side_from_mm; z > -40.0; z -= side_step_mm) patches.push_back(patch_at({x, 0, z}, {0, -1, 0}));
    for (double y = top_from_mm; y < 45.0; y += 1.0) patches.push_back(patch_at({x, y, 0}, {0, 0, 1}));
  }
}

std::size_t count_if_away_from_ends(const std::vector<Patch>& patches, bool (*which)(const Vector3&)) {
  std::size_t count = 0;
  for (const Patch& patch : patches) count += std::abs(patch.at_sheet_mm.x()) < 30.0 && which(patch.at_sheet_mm);
  return count;
}

bool on_faces(const Vector3& at) { return std::abs(at.y()) < 0.01 || std::abs(at.z()) < 0.01; }

// A stair of two ledges cut at the corner: floors, walls, and blends that slope like a bevel but lie on no plane.
TEST(DropLedges, AStairIsNoFace) {
  std::vector<Patch> patches, stair;
  add_faces(patches, 6.5, 4.6);
  const std::vector<Patch> faces = patches;
  for (double x = -40.0; x <= 40.0; x += 1.0) {
    for (const double y : {0.5, 1.2}) stair.push_back(patch_at({x, y, -5.85}, {0, 0, 1}));
    for (const double z : {-2.5, -3.5, -4.5}) stair.push_back(patch_at({x, 1.85, z}, {0, -1, 0}));
    for (const double y : {2.4, 3.4}) stair.push_back(patch_at({x, y, -1.65}, {0, 0, 1}));
    const double wander = 0.8 * std::sin(1.7 * x);
    stair.push_back(patch_at({x, 1.0 + wander, -4.2 + wander}, {0, -0.7, 0.7}));
    stair.push_back(patch_at({x, 3.0 - wander, -1.2 + wander}, {0, -0.6, 0.8}));
  }
  patches.insert(patches.end(), stair.begin(), stair.end());
  const auto kept = kept_of(patches);
  EXPECT_EQ(count_if_away_from_ends(kept, [](const Vector3& at) { return !on_faces(at); }), 0U);
  EXPECT_EQ(count_if_away_from_ends(kept, on_faces), count_if_away_from_ends(faces, on_faces));
}

// In a run-out the shelf of a ledge below the bevel slopes along the rim, as no top does. The bevel is a plane through
// (x, 0, -12 - x / 2) and (x, 1.5 (12 + x / 2), 0); it stays, hollow of 1 mm and all.
TEST(DropLedges, ASlopingShelfIsNoBevel) {
  std::vector<Patch> patches;
  for (double x = -14.0; x <= 14.0; x += 1.0) {
    const double drop = 12.0 + 0.5 * x;
    for (double z = -drop - 2.5; z > -45.0; z -= 1.0) patches.push_back(patch_at({x, 0, z}, {0, -1, 0}));
    for (double y = 1.5 * drop + 2.5; y < 60.0; y += 1.0) patches.push_back(patch_at({x, y, 0}, {0, 0, 1}));
    for (double share = 0.1; share < 0.95; share += 0.08) {
      const double x_share = std::min(1.0, std::abs(x) / 8.0),
                   across_share = std::min(1.0, std::abs(share - 0.5) / 0.3);
      const double hollow = 0.25 * (1.0 + std::cos(M_PI * x_share)) * (1.0 + std::cos(M_PI * across_share));
      const Vector3 normal = Vector3(0.5, -1.0 / 1.5, 1.0).normalized();
      patches.push_back(patch_at(Vector3(x, share * 1.5 * drop, -(1.0 - share) * drop) - hollow * normal, normal));
    }
    for (const double y : {0.4, 1.0}) patches.push_back(patch_at({x, y, -drop - 2.0}, {0.5, 0, 1}));
  }
  const auto kept = kept_of(patches);
  const auto shelf = [](const Patch& p) { return std::abs(p.normal_sheet.y()) < 0.01 && p.normal_sheet.z() < 0.95; };
  const auto bevel = [](const Patch& p) { return std::abs(p.normal_sheet.y()) > 0.1 && p.normal_sheet.z() > 0.1; };
  // At the very ends a station has the bevel to one side only.
  const auto count = [](const std::vector<Patch>& all, const auto& which) {
    return std::count_if(all.begin(), all.end(),
                         [&](const Patch& p) { return which(p) && std::abs(p.at_sheet_mm.x()) < 11.0; });
  };
  EXPECT_GT(count(patches, shelf), 0);
  EXPECT_EQ(count(kept, shelf), 0);
  EXPECT_EQ(count(kept, bevel), count(patches, bevel));
}

// Plain wood matches in sparse streaks only: they lie on the side, and stay.
TEST(DropLedges, StreaksOfTheSideStay) {
  std::vector<Patch> patches;
  add_faces(patches, 2.0, 2.0, 9.0);
  EXPECT_EQ(kept_of(patches).size(), patches.size());
}

TEST(DropLedges, WithoutARimNothingIsSaid) {
  const std::vector<Patch> patches{patch_at({0, 0, 0}, {0, 0, 1}), patch_at({0, 5, -2}, {0, 0.5, 1})};
  EXPECT_EQ(drop_ledges(patches, {}, {}).size(), 2U);
}

}  // namespace
}  // namespace rimwright
