// What a scan file holds, as the file has it.
#pragma once

#include <array>
#include <cstdint>
#include <vector>

#include "core/cloud.h"

namespace rimwright {

// The points are the file's points or a mesh's vertices. Lengths are in the file's own unit until
// to_millimetres() has found it; nothing is cleaned and nothing is sampled yet.
struct ScanFile {
  Cloud cloud;
  std::vector<std::array<std::uint32_t, 3>> triangles;  // corners are indices of points, all valid; polygons as fans
};

}  // namespace rimwright
