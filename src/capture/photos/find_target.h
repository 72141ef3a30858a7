// Finds the target's corners in one photo, to a few hundredths of a pixel.
#pragma once

#include <vector>

#include "capture/photos/photo_set.h"
#include "capture/scale_target.h"

namespace rimwright {

struct FindTargetSettings {
  int search_side_px = 2200;   // markers are looked for in a copy no longer than this; corners in the photo itself
  int patient_side_px = 4400;  // and once more in a copy this long where slanting views hide many
  double patient_below_share = 0.6;  // of the board's corners found at first
  double corner_window_share =
      0.2;  // half window of the corner finder, of a square's side as seen; clear of the markers
  int smallest_window_px = 3, largest_window_px = 12;
};

struct TargetCorner {
  int index = 0;  // as in target_corners_mm
  Vector2 pixel = Vector2::Zero();
};

// Corners in index order; empty when the target is not seen. The saddle of a chessboard corner is sought
// (Foerstner's operator through OpenCV's cornerSubPix).
[[nodiscard]] std::vector<TargetCorner> find_target(const Photo& photo, const ScaleTarget& target,
                                                    const FindTargetSettings& settings);

}  // namespace rimwright
