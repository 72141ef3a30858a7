// The plane most of some patches lie on.
#pragma once

#include <optional>
#include <vector>

#include "capture/photos/refine_patch.h"

namespace rimwright {

// Sheet frame, mm.
struct CommonPlane {
  Vector3 normal = Vector3::UnitZ();
  Vector3 middle_mm = Vector3::Zero();
};

[[nodiscard]] inline double height_over(const CommonPlane& plane, const Vector3& at_sheet_mm) {
  return (at_sheet_mm - plane.middle_mm).dot(plane.normal);
}

// Ledges have the normals of the face beside them but less area: the median holds, and what lies more than 0.5 mm off
// it does not count, nor what leans by more than 15 degrees: blends of two faces. Nothing where fewer are left.
[[nodiscard]] std::optional<CommonPlane> common_plane(const std::vector<const Patch*>& patches, std::size_t fewest);

}  // namespace rimwright
