// First poses and lens numbers, from the target alone.
#pragma once

#include "capture/photos/adjust_cameras.h"
#include "capture/photos/find_target.h"
#include "capture/photos/photo_set.h"

namespace rimwright {

struct PlaceByTargetSettings {
  double corner_in_plane_sigma_mm = 0.02;  // printers place dots this well over a sheet
  double corner_height_sigma_mm = 0.5;     // paper bows; the heights are solved for
  std::size_t fewest_corners = 8;          // below, a photo counts as showing no target
  double focal_unknown_mm_35 = 26.0;       // start value where the EXIF gives none: a phone's main camera
};

// A network with the target's corners as its points and every photo that shows the target placed. Refuses
// (capture_insufficient) when fewer than 3 photos show it, or when all were taken from one spot.
[[nodiscard]] Outcome<CameraNetwork> place_by_target(const PhotoSet& set,
                                                     const std::vector<std::vector<TargetCorner>>& corners,
                                                     const ScaleTarget& target, const PlaceByTargetSettings& settings,
                                                     const AdjustCamerasSettings& adjust);

}  // namespace rimwright
