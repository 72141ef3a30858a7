// Where surface is worth measuring: beside the rim, not on the target and not far away.
#pragma once

#include <vector>

#include "capture/photos/refine_patch.h"
#include "capture/scale_target.h"

namespace rimwright {

struct SurfaceZoneSettings {
  double steep_below_cosine = 0.4;  // of normal and up: what is steeper is taken for side
  double within_mm = 42.0;        // of the side, in plan: bevels reach some 30 mm in, and the top beside them is needed
  double deepest_mm = 52.0;       // down from the highest of the side that is seen; the side line wants 40 mm
  double highest_mm = 42.0;       // and up from there: past a bevel to the top, wherever the sheet lies
  double target_margin_mm = 2.0;  // round the printed board
  double cell_mm = 3.0;           // of the map of the zone
  std::size_t least_side_patches = 8;  // a cell's neighbourhood needs this many to count as side: stray ones do not
};

// A map in plan (the sheet's x and y) of the places near the side, found from the first patches alone.
class SurfaceZone {
 public:
  SurfaceZone(const std::vector<Patch>& seeds, const ScaleTarget& target, const SurfaceZoneSettings& settings);
  [[nodiscard]] bool holds(const Vector3& at_sheet_mm) const;
  // Direction of the rim, level, near a place: square to the side nearest in plan. Not to be asked of an empty zone.
  [[nodiscard]] Vector3 along_rim(const Vector3& at_sheet_mm) const;
  [[nodiscard]] bool is_empty() const { return near_.empty(); }

 private:
  SurfaceZoneSettings settings_;
  ScaleTarget target_;
  double left_ = 0.0, bottom_ = 0.0, side_top_ = 0.0;
  long columns_ = 0, rows_ = 0;
  std::vector<bool> near_;
  std::vector<Vector2> side_, side_out_;  // places of the side in plan, and the outward direction there
};

}  // namespace rimwright
