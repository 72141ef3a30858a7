// heatmap.ply: the scanned points of the bevel face, coloured by deviation; binary little-endian PLY 1.0.
#pragma once

#include <string>

#include "judge/inspection.h"

namespace rimwright {

// vertex: float x y z (scan frame, mm), uchar red green blue, float deviation (mm; positive = wood still to take off),
// float station (mm). Points off the bevel face have no deviation and are left out.
[[nodiscard]] std::string heatmap_ply(const Inspection& inspection);

}  // namespace rimwright
