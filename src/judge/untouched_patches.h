// The faces of a pass as searchable surfaces, and the small patches of those nobody worked on.
#pragma once

#include <vector>

#include "judge/pass.h"
#include "judge/surface_points.h"

namespace rimwright {

// A small piece of a face: where it is, its normal (sign arbitrary) and how well both are known.
struct UntouchedPatch {
  FaceKind kind = FaceKind::side;
  double station_mm = 0.0;
  Vector3 at_mm = Vector3::Zero();
  Vector3 normal = Vector3::Zero();
  double variance_mm2 = 0.0;  // of its position along the normal, from point noise
};

// A pass split by face. Points whose sigma is not stated take the pass's noise.
struct FaceSurfaces {
  SurfacePoints side, top, worked;  // worked: bevel, floors and walls
  std::vector<float> side_station_mm, top_station_mm;
  [[nodiscard]] const SurfacePoints& of(FaceKind kind) const { return kind == FaceKind::top ? top : side; }
};
[[nodiscard]] FaceSurfaces face_surfaces(const Pass& pass);

// Patches of top and side, one a cell of `patch_mm`, further than `away_mm` from every worked point of their own pass.
[[nodiscard]] std::vector<UntouchedPatch> untouched_patches(const FaceSurfaces& faces, double patch_mm,
                                                            double radius_mm, double away_mm);

// The middles of the cells of a regular grid that hold at least `fewest` points: mean place of the points in each, in a
// fixed order, with the index of the point nearest to it.
struct CellMiddle {
  Vector3 at_mm = Vector3::Zero();
  std::size_t nearest = 0;
};
[[nodiscard]] std::vector<CellMiddle> cell_middles(const SurfacePoints& points, double cell_mm, std::size_t fewest);

}  // namespace rimwright
