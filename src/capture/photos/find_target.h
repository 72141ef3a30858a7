// Finds the target's corners in one photo, to a few hundredths of a pixel.
#pragma once

#include <vector>

#include "capture/photos/photo_set.h"
#include "capture/photos/refine_corner.h"
#include "capture/scale_target.h"

namespace rimwright {

struct FindTargetSettings {
  int search_side_px = 2200;   // markers are looked for in a copy no longer than this; corners in the photo itself
  int patient_side_px = 4400;  // and once more in a copy this long where slanting views hide many
  double patient_below_share = 0.6;  // of the board's corners found at first
  RefineCornerSettings corner;
};

struct TargetCorner {
  int index = 0;  // as in target_corners_mm
  Vector2 pixel = Vector2::Zero();
};

// Corners in index order; empty when the target is not seen, or fewer than four of its corners are. OpenCV's markers
// tell about where they lie; refine_corner finds each in the photo itself.
[[nodiscard]] std::vector<TargetCorner> find_target(const Photo& photo, const ScaleTarget& target,
                                                    const FindTargetSettings& settings);

}  // namespace rimwright
