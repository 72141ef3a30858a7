// The baseline that photos are held against: pairwise semi-global matching over given cameras, fused.
//
// What an able user of a general vision library does: epipolar rectification of neighbouring photos (Fusiello, Trucco
// and Verri, Machine Vision and Applications 12, 2000), semi-global matching (Hirschmueller, PAMI 30, 2008) as OpenCV
// has it, and of all points those that several pairs agree on. Nothing of our own matching is in it.
#pragma once

#include <functional>
#include <vector>

#include "capture/photos/camera.h"
#include "capture/photos/photo_set.h"

namespace rimwright {

struct StereoSurfaceSettings {
  int shrink = 2;                                 // of the photos
  double narrowest_deg = 5.0, widest_deg = 22.0;  // between the two lines of sight of a pair
  std::size_t partners = 2;                       // of each photo
  double depth_margin_mm = 25.0;                  // round the tie points of the place looked at
  bool all_ways = false;  // eight paths to each pixel; else OpenCV's quick three, none of which comes from below
  int block = 5;          // matching window, pixels
  int small_step_penalty = 8, large_step_penalty = 32;  // times the window's area (OpenCV's own advice)
  int uniqueness_percent = 10;
  int speckle_pixels = 100, speckle_range = 2;
  int most_left_right_difference = 1;  // pixels
  double voxel_mm = 0.5;
  std::size_t fewest_pairs = 3;  // that see a voxel
};

struct StereoSurface {
  std::vector<Vector3> points_sheet_mm;  // the mean of each kept voxel
  std::size_t pairs = 0;
  double megapixels = 0.0;  // rectified and matched
};

// Only the place that `wanted` holds is looked at; the network's tie points there bound picture and depth.
[[nodiscard]] StereoSurface stereo_surface(const PhotoSet& set, const CameraNetwork& network,
                                           const std::function<bool(const Vector3&)>& wanted,
                                           const StereoSurfaceSettings& settings);

}  // namespace rimwright
