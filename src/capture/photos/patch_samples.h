// Grey values of one patch in several photos, on one grid of samples. Inner workings of refine_patch.
#pragma once

#include <Eigen/Core>
#include <span>
#include <vector>

#include "capture/photos/refine_patch.h"

namespace rimwright {

struct PatchGrid {
  int along = 0, across = 0;  // samples each way
  double step_along_mm = 0.0, step_across_mm = 0.0;
  [[nodiscard]] int count() const { return along * across; }
};

[[nodiscard]] PatchGrid grid_for(const View& nearest, const Patch& patch, const RefinePatchSettings& settings);

// One photo's samples: normalised values (mean 0, unit length times sqrt(count)) and derivatives by offset and slopes
// along and across, all in units of the photo's own spread. contrast is that spread in grey levels.
struct PhotoSamples {
  Eigen::ArrayXf value;
  Eigen::Array<float, Eigen::Dynamic, 3> slope;
  double contrast = 0.0;
};

// False when part of the patch lies outside the picture.
[[nodiscard]] bool sample_patch(const View& view, const SmoothPhoto& photo, const Patch& patch, const PatchGrid& grid,
                                bool with_slopes, PhotoSamples& samples);

}  // namespace rimwright
