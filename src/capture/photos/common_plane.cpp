#include "capture/photos/common_plane.h"

#include <algorithm>
#include <cmath>

#include "core/median.h"

namespace rimwright {
std::optional<CommonPlane> common_plane(const std::vector<const Patch*>& patches, std::size_t fewest) {
  if (patches.size() < fewest) return std::nullopt;
  constexpr double most_lean_cosine = 0.966;  // 15 degrees: blends of two faces
  CommonPlane plane;
  plane.normal.setZero();
  for (const Patch* p : patches) plane.normal += p->normal_sheet;
  plane.normal.normalize();
  std::vector<const Patch*> in = patches;
  for (int round = 0; round < 3; ++round) {
    std::vector<double> heights;
    for (const Patch* p : in) heights.push_back(plane.normal.dot(p->at_sheet_mm));
    const double height = median_of(heights);
    const double gate_mm = round == 0 ? 1.5 : 0.5;
    std::vector<const Patch*> kept;
    for (std::size_t i = 0; i < in.size(); ++i) {
      const bool leans = round > 0 && in[i]->normal_sheet.dot(plane.normal) < most_lean_cosine;
      if (std::abs(heights[i] - height) < gate_mm && !leans) kept.push_back(in[i]);
    }
    if (kept.size() < fewest) return std::nullopt;
    in = std::move(kept);
    plane.normal.setZero();
    plane.middle_mm.setZero();
    for (const Patch* p : in) {
      plane.normal += p->normal_sheet;
      plane.middle_mm += p->at_sheet_mm / static_cast<double>(in.size());
    }
    plane.normal.normalize();
  }
  return plane;
}

}  // namespace rimwright
