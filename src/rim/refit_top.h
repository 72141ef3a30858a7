// Refit top: the top's quadric once more, through the points themselves.
//
// Cells are enough to find the top. In a noisy scan they are no longer enough to carry it over the bevel to the rim
// corner, 20 to 35 mm beyond where it ends: which cells count as flat depends on their noise, and at the top's edge
// more of those that lie high do. So the quadric is fitted to points chosen by where they lie in plan, clear of the
// edges, robustly (Tukey's biweight on the median deviation), and what its bend is worth is kept for the budget.
#pragma once

#include "core/cloud.h"
#include "rim/orient.h"

namespace rimwright {

struct RefitTopSettings {
  std::size_t sampled_points = 300000;  // of the whole scan; more only costs time
  double clear_of_edges_mm = 4.0;       // in plan, from where cells of the top end
  std::size_t fewest_points = 200;      // with fewer the cells' quadric stays
};

// The same orientation with `top` fitted anew and `top_bend` set; as it was where too few points lie clear of the edges.
[[nodiscard]] Orientation refit_top(Orientation orientation, const Cloud& cloud, const SurfaceCells& cells,
                                    const RefitTopSettings& settings);

}  // namespace rimwright
