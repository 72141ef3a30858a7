// The scale of a depth capture from the printed target, where colour images show it lying flat: the board's corners are
// found in colour, carried onto the plane that the depth image shows there, and their distances held against the sheet.
// That also tells how long or short the depth camera reads.
#pragma once

#include <cstddef>
#include <string>

#include "capture/depth/depth_capture.h"
#include "capture/photos/find_target.h"
#include "core/cloud.h"
#include "core/parallel.h"
#include "core/refusal.h"

namespace rimwright {

struct TargetScaleSettings {
  ScaleTarget target;
  double bar_mm = 0.0;                   // of the check bar, as measured with callipers; 0 = not measured
  double bar_reading_u_mm = 0.05;        // standard uncertainty of that reading
  double unmeasured_relative_u = 0.005;  // printers scale by up to a percent
  std::size_t most_images = 60;          // evenly spread; more would not tell more
  std::size_t fewest_corners = 12;       // of 70, in one image
  double plane_u_mm = 0.1;               // standard uncertainty of where a sheet's plane is read, shared by all images;
                                         // ink reflects unlike paper. Common practice, no source
  FindTargetSettings find;
};

struct TargetScale {
  std::size_t images = 0;   // in which the target was seen; 0 = no scale from it
  double factor = 1.0;      // true length over length as read
  double relative_u = 0.0;  // of the factor: scatter between images, print, plane
  double tilt_deg = 0.0;    // largest tilt of the target to the image among those used
  std::string note;         // why colour was not used, for people; else empty
};

// Colour images must be registered to depth: the same size, pixel on pixel. Without colour, or without the target in
// it, or with colour of another size, images = 0. Refuses colour images that cannot be read, or of another size where a
// bar was measured and the target is meant to count (capture_insufficient), and a bar reading more than 5 % off its
// nominal length (scale_unknown).
[[nodiscard]] Outcome<TargetScale> scale_from_target(const DepthCapture& capture, const TargetScaleSettings& settings,
                                                     Workers& workers);

// Scales the cloud and states where its scale comes from. Does nothing when the target was not seen.
void apply_target_scale(Cloud& cloud, const TargetScale& scale, const TargetScaleSettings& settings);

}  // namespace rimwright
