// How far the surface would differ had half of the photos not been taken: the honest measure of what cameras, lens and
// light leave behind after everything has been fitted.
#pragma once

#include <vector>

#include "capture/photos/refine_patch.h"
#include "core/cloud.h"
#include "core/parallel.h"

namespace rimwright {

struct CompareHalvesSettings {
  std::size_t most_patches = 4000;  // evenly picked; enough for a covariance to a tenth
  RefinePatchSettings refine{.farthest_mm = 0.25, .farthest_tilt_deg = 15.0};
  double same_face_deg = 15.0;  // pairs of patches count as one face within this
};

struct HalvesReport {
  CaptureError error;           // of the whole set: half the standard deviation of the halves' difference
  double white_sigma_mm = 0.0;  // the part of the same that neighbours do not share
  std::size_t compared = 0;     // patches seen by three photos or more of both halves
};

// Photos are dealt to the halves in turn, in their order. The covariance of the difference over distance is fitted with
// sigma^2 exp(-distance / length). With fewer than 100 patches to compare, the error is unknown and stays zero.
[[nodiscard]] HalvesReport compare_halves(const PhotoStack& stack, const std::vector<Patch>& patches,
                                          const CompareHalvesSettings& settings, Workers& workers);

}  // namespace rimwright
