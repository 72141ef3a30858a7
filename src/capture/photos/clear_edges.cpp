#include "capture/photos/clear_edges.h"

#include <cmath>

#include "capture/photos/patch_grid_index.h"

namespace rimwright {

std::vector<Patch> clear_edges(const std::vector<Patch>& patches, const ClearEdgesSettings& settings) {
  const double same = std::cos(radians_from_degrees(settings.other_face_deg));
  const PatchIndex index(patches, settings.reach_mm);
  std::vector<Patch> kept;
  for (const Patch& patch : patches) {
    std::size_t witnesses = 0;
    index.for_near(patch.at_sheet_mm, [&](std::size_t n) {
      const double cosine = patches[n].normal_sheet.dot(patch.normal_sheet);
      if (cosine > same || cosine < -0.5) return;  // opposite faces do not meet
      const double sine = std::sqrt(std::max(0.0, 1.0 - cosine * cosine));
      const double off = std::abs((patch.at_sheet_mm - patches[n].at_sheet_mm).dot(patches[n].normal_sheet));
      if (off < settings.clear_share * patch.half_across_mm * sine) ++witnesses;
    });
    if (witnesses < settings.least_witnesses) kept.push_back(patch);
  }
  return kept;
}

}  // namespace rimwright
