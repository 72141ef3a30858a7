// The patches as a cloud in true millimetres, with what is known of their errors.
#pragma once

#include <vector>

#include "capture/photos/refine_patch.h"
#include "capture/scale_target.h"
#include "core/cloud.h"
#include "core/refusal.h"

namespace rimwright {

struct PrintScale {
  double bar_mm = 0.0;                   // as measured with callipers; 0 = not measured
  double bar_reading_u_mm = 0.05;        // standard uncertainty of that reading
  double unmeasured_relative_u = 0.005;  // printers scale by up to a percent
};

struct CloudOfPatchesSettings {
  double neighbourhood_mm = 2.5;  // in which residuals about a plane are looked at
  double least_sigma_mm = 0.002;  // no patch is believed beyond this
};

// Scale from the check bar; points relative to the first board corner. Each point's sigma is what its own matching
// claims, raised by one factor so that the claims agree with the scatter about local planes. Refuses
// (scale_unknown) a bar reading more than 5 % off its nominal length.
[[nodiscard]] Outcome<Cloud> cloud_of_patches(const std::vector<Patch>& patches, const ScaleTarget& target,
                                              const PrintScale& print, const CloudOfPatchesSettings& settings);

}  // namespace rimwright
