// What a person should know about a depth capture: how it was aligned, its noise, what was seen and what to do again.
#pragma once

#include <string>
#include <vector>

#include "capture/depth/align_frames.h"
#include "capture/depth/rim_zone.h"
#include "capture/depth/scale_from_target.h"

namespace rimwright {

struct VerdictSettings {
  double steep_deg = 65.0;          // a face whose squarest view is steeper was badly seen
  double steep_share = 0.25;        // of a face's cells near the rim, from which it is worth saying
  std::size_t few_frames = 5;       // a place seen by fewer rests on few views
  double few_share = 0.25;          // of the cells near the rim
  double farthest_good_mm = 450.0;  // beyond, noise grows with the square of the range
};

// Sentences for Cloud::notes, the plain facts first.
[[nodiscard]] std::vector<std::string> capture_verdict(const DepthCapture& capture, const Alignment& alignment,
                                                       const DepthNoise& noise, const DepthRimZone& zone,
                                                       const TargetScale& scale, const VerdictSettings& settings);

}  // namespace rimwright
