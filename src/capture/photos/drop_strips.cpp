#include "capture/photos/drop_strips.h"

#include <algorithm>
#include <array>
#include <cmath>
#include <numbers>

#include "capture/photos/patch_grid_index.h"

namespace rimwright {
namespace {

// How wide the patch's face is here where it is narrowest, as far as reach_mm: measured in every direction, since
// in a run-out a ledge crosses the rim at up to 40 degrees.
double narrowest_width(const std::vector<Patch>& patches, const PatchIndex& index, const Patch& patch,
                       const DropStripsSettings& settings) {
  constexpr std::size_t directions = 24;
  const double same = std::cos(radians_from_degrees(settings.same_face_deg));
  const Vector3 other = patch.normal_sheet.cross(patch.along_sheet);
  std::array<double, directions> low{}, high{};
  index.for_near(patch.at_sheet_mm, [&](std::size_t n) {
    if (patches[n].normal_sheet.dot(patch.normal_sheet) < same) return;
    const Vector3 d = patches[n].at_sheet_mm - patch.at_sheet_mm;
    if (std::abs(d.dot(patch.normal_sheet)) > settings.off_plane_mm) return;
    const Vector2 at(d.dot(patch.along_sheet), d.dot(other));
    for (std::size_t k = 0; k < directions; ++k) {
      const double turn = std::numbers::pi * static_cast<double>(k) / static_cast<double>(directions);
      const Vector2 across(std::cos(turn), std::sin(turn));
      if (std::abs(across.x() * at.y() - across.y() * at.x()) > settings.strip_mm) continue;
      low[k] = std::min(low[k], across.dot(at));
      high[k] = std::max(high[k], across.dot(at));
    }
  });
  double width = settings.reach_mm;
  for (std::size_t k = 0; k < directions; ++k) width = std::min(width, high[k] - low[k]);
  return width;
}

}  // namespace

std::vector<Patch> drop_strips(const std::vector<Patch>& patches, const DropStripsSettings& settings) {
  const PatchIndex index(patches, settings.reach_mm);
  std::vector<Patch> kept;
  for (const Patch& patch : patches) {
    const double up = std::abs(patch.normal_sheet.z());
    const bool like_top_or_side = up > settings.level_above_cosine || up < settings.steep_below_cosine;
    if (like_top_or_side && narrowest_width(patches, index, patch, settings) < settings.narrowest_mm) continue;
    kept.push_back(patch);
  }
  return kept;
}

}  // namespace rimwright
