// Refit top: the top's quadric once more, through the points themselves.
//
// Cells are enough to find the top. In a noisy scan they are no longer enough to carry it over the bevel to the rim
// corner, 20 to 35 mm beyond where it ends: which cells count as flat depends on their noise, and at the top's edge
// more of those that lie high do. So the quadric is fitted to points chosen by where they lie in plan, clear of the
// edges, robustly (Tukey's biweight on the median deviation), its bend held by what tops usually have, and what it is
// worth is kept for the budget.
#pragma once

#include "core/cloud.h"
#include "core/parallel.h"
#include "rim/orient.h"

namespace rimwright {

struct RefitTopSettings {
  std::size_t sampled_points = 300000;  // of the whole scan; more only costs time
  double clear_of_edges_mm = 4.0;       // in plan, from where cells of the top end
  std::size_t fewest_points = 200;      // with fewer the cells' quadric stays
  // Standard deviation of a top's bend before it is seen, 1/mm: tops are flat or domed with a radius of 3 m and more.
  // It holds the bend of a narrow strip in a noisy scan.
  double usual_bend_per_mm = 0.00033;
};

// The same orientation with `top` fitted anew and `top_bend` set. Where too few points lie clear of the edges the top
// stays as it was, its bend as sure as it usually is.
[[nodiscard]] Orientation refit_top(Orientation orientation, const Cloud& cloud, const SurfaceCells& cells,
                                    const RefitTopSettings& settings, Workers& workers);

}  // namespace rimwright
