// Small planes fitted to windows of one depth image: the measurements that alignment works with.
//
// A plane seen through a pinhole has an inverse depth that is linear in the pixel, 1/z = a du + b dv + c, so a linear
// fit a window gives point, normal and scatter (textbook; used for disparity planes in stereo).
#pragma once

#include <cstddef>
#include <vector>

#include "capture/depth/depth_capture.h"
#include "core/parallel.h"

namespace rimwright {

struct DepthPatch {
  Vector3 point_mm;             // camera frame, on the fitted plane at the window's middle
  Vector3 normal;               // camera frame, unit, towards the camera
  double sigma_z_mm = 0.0;      // scatter of the pixels about the plane, along z
  double incidence_rad = 0.0;   // between ray and normal
  double worst_z_mm = 0.0;      // largest departure of a pixel from the plane, along z
  std::size_t pixels = 0;       // that the fit used
  double point_variance = 0.0;  // of point_mm along z, as a share of one pixel's variance
};

struct PatchSettings {
  int half_window_px = 0;          // 0 = from noise and pixel size, between 3 and 8
  int stride_px = 0;               // 0 = one more than half the window, at least 6: windows hardly overlap
  double seen_share = 0.8;         // of the pixels that a window should hold, or the window is left out
  double steepest_deg = 78.0;      // beyond, a pixel spans five times its width along the face
  double longest_range_mm = 1500;  // beyond arm's length nothing is the body
};

// How many of the pixels on faces hold a depth, from a few images spread over the capture; sensors drop returns on dark
// and glossy wood. 1 = all. Pixels count that have a seen neighbour on every side.
[[nodiscard]] double seen_share_on_faces(const DepthCapture& capture);

// The window that a capture's noise asks for: wide enough that a window's normal is good to about 0.05 rad.
[[nodiscard]] PatchSettings settings_for(const DepthCapture& capture, const PatchSettings& asked);

// Patches of one frame, row by row. Windows across a step or an edge scatter more than their surroundings and are
// left out by the caller, who knows the noise.
[[nodiscard]] std::vector<DepthPatch> patches_of(const DepthFrame& frame, const PinholeIntrinsics& intrinsics,
                                                 double mm_per_count, const PatchSettings& settings);

// Patches of every frame; independent of the number of threads.
[[nodiscard]] std::vector<std::vector<DepthPatch>> patches_of_all(const DepthCapture& capture,
                                                                  const PatchSettings& settings, Workers& workers);

}  // namespace rimwright
