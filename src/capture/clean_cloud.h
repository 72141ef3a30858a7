// Drops what cannot be a measured point of the scan: coordinates that are not finite, exact duplicates, strays far from
// everything else. Tables, clamps and whatever else was really seen stay; the rim's stages tell those apart.
#pragma once

#include <cstddef>

#include "core/cloud.h"
#include "core/parallel.h"
#include "core/refusal.h"

namespace rimwright {

struct CleanCloudSettings {
  // Points that must be left; fewer cannot show a rim.
  std::size_t fewest_points = 1000;
  // Strays lie in clumps of at most this share of all points, apart from all else by at least one cell ...
  double most_stray_share = 1e-4;
  // ... whose edge is this share of the scan's largest extent (strays aside): 20 mm on a body of 500 mm.
  double cell_share = 0.04;
};

// Keeps the order of the points; of duplicates (same x, y and z to the last bit) the first. Counts what was
// dropped in ReadingCounts. Answers do not depend on the number of threads. Needs 8 bytes a point for a while.
// Refusals: too_few_points, shape_degenerate (all at one place, or all on one line).
[[nodiscard]] Outcome<Cloud> clean_cloud(Cloud cloud, const CleanCloudSettings& settings, Workers& workers);

}  // namespace rimwright
