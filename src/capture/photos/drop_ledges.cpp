#include "capture/photos/drop_ledges.h"

#include <cmath>
#include <limits>

#include "capture/photos/patch_grid_index.h"

namespace rimwright {
namespace {

bool lies_on_a_face(const Patch& patch, const RimSection& section, const DropLedgesSettings& settings) {
  const double same = std::cos(radians_from_degrees(settings.same_face_deg));
  const RimFrame& rim = section.rim;
  const double off_mm = settings.off_face_mm + settings.off_share * (patch.at_sheet_mm - rim.corner_mm).norm();
  const auto lies_on = [&](const Vector3& normal, const Vector3& through, double within_mm) {
    return patch.normal_sheet.dot(normal) > same && std::abs((patch.at_sheet_mm - through).dot(normal)) < within_mm;
  };
  return lies_on(rim.up, rim.corner_mm, off_mm) || lies_on(side_normal(rim), rim.corner_mm, off_mm) ||
         (section.bevel && lies_on(section.bevel->normal, section.bevel->middle_mm, settings.off_bevel_mm));
}

}  // namespace

std::vector<Patch> drop_ledges(const std::vector<Patch>& patches, const std::vector<std::vector<RimSection>>& sections,
                               const DropLedgesSettings& settings) {
  constexpr double section_reach_mm = 60.0;
  const PatchIndex index(patches, section_reach_mm);
  std::vector<double> nearest(patches.size(), settings.nearest_mm);
  std::vector<const RimSection*> section_of(patches.size(), nullptr);
  for (const auto& run : sections) {
    for (const RimSection& section : run) {
      index.for_near(section.rim.corner_mm, [&](std::size_t n) {
        const double along_mm = std::abs(in_section(section.rim, patches[n].at_sheet_mm).along_mm);
        if (along_mm < nearest[n]) nearest[n] = along_mm, section_of[n] = &section;
      });
    }
  }
  std::vector<Patch> kept;
  for (std::size_t i = 0; i < patches.size(); ++i) {
    if (section_of[i] == nullptr || lies_on_a_face(patches[i], *section_of[i], settings)) kept.push_back(patches[i]);
  }
  return kept;
}

}  // namespace rimwright
