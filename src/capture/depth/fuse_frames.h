// Aligned depth frames into one cloud. No smoothed volume: a signed-distance grid rounds the corners of ledges, so the
// pixels themselves are kept near the rim, each with its own standard deviation, and averaging is left to the section
// fits. Pixels between two depths ('flying' pixels) are dropped.
#pragma once

#include <cstddef>

#include "capture/depth/align_frames.h"
#include "capture/depth/rim_zone.h"
#include "core/cloud.h"

namespace rimwright {

struct FuseSettings {
  std::size_t most_points = 4'000'000;  // near the rim; beyond, an even share of all is kept
  double far_spacing_mm = 2.0;          // elsewhere: one point a cell of this side, for finding top and side
  double steepest_deg = 75.0;           // beyond, depth noise lies almost along the face and says little
  int neighbours_needed = 4;  // of 8, at a depth that noise and slope explain; fewer where the sensor drops pixels
  double least_density_share = 0.1;  // of the median density near the rim; thinner places are strays
  // Relative standard uncertainty of the scale when nothing of known size is in view: scale_u_per_error times the
  // camera's error as a share of the range, but at least least_scale_u. The camera's error is its noise together with
  // warp_to_noise times the warp found between images: a camera holds scale about as well as it holds depth, and a
  // warped one holds it worse than its noise suggests. Common practice, no source.
  double scale_u_per_error = 2.5;
  double warp_to_noise = 3.0;
  double least_scale_u = 0.001;
  // The error that a whole image shares (Alignment::bias_mm) is passed on undiminished, since a camera's own warp does
  // not average out over a pass. Over what distance it stays alike is not known: a bevel's own width is assumed, which
  // leans its face the most. Common practice, no source.
  double bias_length_mm = 25.0;
};

// The cloud in the scan frame, with sigma along the normal for each point; order is that of frames and pixels and does
// not depend on threads. Refuses with too_few_points below 1000 points near the rim.
[[nodiscard]] Outcome<Cloud> fuse_frames(const DepthCapture& capture, const Alignment& alignment,
                                         const DepthNoise& noise, const DepthRimZone& zone,
                                         const FuseSettings& settings, Workers& workers);

}  // namespace rimwright
