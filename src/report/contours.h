// Contour segments of the unrolled face by marching squares (linear interpolation along cell edges).
#pragma once

#include <array>
#include <vector>

#include "measure/measures.h"

namespace rimwright {

// Ends of a segment as (station_mm, across_mm).
using Segment = std::array<Vector2, 2>;

// Each cell as the mean of the measured cells within `half_mm` of it, so that a contour follows the face and not the
// noise of single cells. Cells that were not measured stay so.
[[nodiscard]] UnrolledMap smoothed_map(const UnrolledMap& map, double half_mm = 1.5);

// Squares that touch a cell that was not measured give none. Saddles are split by the mean of the four cells.
[[nodiscard]] std::vector<Segment> contour_segments(const UnrolledMap& map, double level_mm);

}  // namespace rimwright
