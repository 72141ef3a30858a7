#include "capture/photos/keep_supported.h"

#include <cmath>

#include "capture/photos/patch_grid_index.h"

namespace rimwright {

std::vector<Patch> keep_supported(std::vector<Patch> patches, const KeepSupportedSettings& settings) {
  const double same = std::cos(radians_from_degrees(settings.same_face_deg));
  for (int pass = 0; pass < 2; ++pass) {
    const PatchIndex index(patches, settings.reach_mm);
    std::vector<Patch> kept;
    for (std::size_t i = 0; i < patches.size(); ++i) {
      const Patch& patch = patches[i];
      std::size_t support = 0;
      index.for_near(patch.at_sheet_mm, [&](std::size_t n) {
        if (n == i || patches[n].normal_sheet.dot(patch.normal_sheet) < same) return;
        const Vector3 d = patches[n].at_sheet_mm - patch.at_sheet_mm;
        const double off = std::abs(d.dot(patch.normal_sheet));
        if (off < settings.off_plane_mm + settings.off_plane_share * d.norm()) ++support;
      });
      if (support >= settings.least_neighbours) kept.push_back(patch);
    }
    patches = std::move(kept);
  }
  return patches;
}

}  // namespace rimwright
