// The first, rough alignment of two passes: their rim curves slid along each other.
#pragma once

#include <vector>

#include "judge/pass.h"

namespace rimwright {

struct RimPlacement {
  Transform T_before_after = Transform::Identity();
  double rms_mm = 0.0;
};

// The best few placements, best first, at least 20 mm of sliding apart: curves of even curvature fit in many places,
// and only the faces can tell which is right. Both directions of travel are tried. Empty when a rim has fewer than 4
// points at step_mm or they do not overlap by half of the shorter one.
[[nodiscard]] std::vector<RimPlacement> align_rims(const std::vector<RimPoint>& before,
                                                   const std::vector<RimPoint>& after, double step_mm);

}  // namespace rimwright
