// Adjusts all poses and all small planes of the model together.
//
// Unknowns: six a frame, and three a plane (height and two slopes), the latter eliminated plane by plane (Schur
// complement, as bundle adjustment eliminates points: Triggs et al., 2000), so that what is solved is one dense system
// in the poses. With planes eliminated the cost is that of plane adjustment (Liu and Zhang, BALM, RA-L 6, 2021).
// Patches are weighed by their noise and, robustly, by their residuals (Tukey's biweight).
#pragma once

#include <vector>

#include "capture/depth/align_frames.h"

namespace rimwright {

struct Refinement {
  std::vector<Transform> T_scan_camera;  // of the frames given
  double bias_mm = 0.0;
  double weakest_u_mm = 0.0;
  std::size_t steps = 0;
  bool settled = false;
};

// patches[i] belong to T_scan_camera[i]. The first frame stays where it is. Never fails; without enough overlap the
// poses come back as they were and `settled` is false.
[[nodiscard]] Refinement refine_poses(const std::vector<const std::vector<DepthPatch>*>& patches,
                                      const std::vector<Transform>& T_scan_camera, const DepthNoise& noise,
                                      const AlignSettings& settings, Workers& workers);

}  // namespace rimwright
