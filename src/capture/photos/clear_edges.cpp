#include "capture/photos/clear_edges.h"

#include <algorithm>
#include <cmath>

#include "capture/photos/patch_grid_index.h"

namespace rimwright {

std::vector<Patch> clear_edges(const std::vector<Patch>& patches, const ClearEdgesSettings& settings) {
  const double same = std::cos(radians_from_degrees(settings.other_face_deg));
  const PatchIndex index(patches, settings.reach_mm);
  std::vector<Patch> kept;
  std::vector<std::size_t> others;
  for (const Patch& patch : patches) {
    Vector3 sum = Vector3::Zero();
    double count = 0.0;
    others.clear();
    index.for_near(patch.at_sheet_mm, [&](std::size_t n) {
      const double cosine = patches[n].normal_sheet.dot(patch.normal_sheet);
      if (cosine > same && std::abs(height_over(patch, patches[n].at_sheet_mm)) < settings.same_face_mm) {
        sum += patches[n].at_sheet_mm;
        count += 1.0;
      }
      if (cosine <= same && cosine >= -0.5) others.push_back(n);  // opposite faces do not meet
    });
    const Vector3 across = patch.normal_sheet.cross(patch.along_sheet);
    const Vector3 middle = sum / count;  // the patch itself is one of them
    const auto too_near = [&](std::size_t n) {
      const Patch& other = patches[n];
      const double askew = std::abs(other.normal_sheet.dot(patch.along_sheet)) - settings.askew_free;
      const double clear_mm = settings.clear_share * (patch.half_across_mm * std::abs(other.normal_sheet.dot(across)) +
                                                      patch.half_along_mm * std::max(0.0, askew));
      // A face lies on one side of the plane that ends it; where its middle says which, the patch must do likewise.
      const double middle_off = height_over(other, middle), off = height_over(other, patch.at_sheet_mm);
      return std::abs(middle_off) > clear_mm ? std::copysign(1.0, middle_off) * off < clear_mm
                                             : std::abs(off) < clear_mm;
    };
    const auto witnesses = static_cast<std::size_t>(std::count_if(others.begin(), others.end(), too_near));
    if (witnesses < settings.least_witnesses) kept.push_back(patch);
  }
  return kept;
}

}  // namespace rimwright
