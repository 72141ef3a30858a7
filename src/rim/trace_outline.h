// Outline: the curve in plan along which side and top would meet, from the cells of the side.
//
// Wall cells are chained by their outward normals (gaps from holes and clamps are bridged), then a uniform cubic
// B-spline is fitted robustly to all of them, the lean of the side taken out. Knots are close enough to follow a
// side that is not fair; the sections later measure what little is left.
#pragma once

#include "core/refusal.h"
#include "rim/gather_cells.h"
#include "rim/orient.h"
#include "rim/rim_curve.h"

namespace rimwright {

struct OutlineSettings {
  double knot_spacing_mm = 12.0;  // a third of the shortest wave that fairness looks for along the outline
  double longest_gap_mm = 90.0;   // clamp or hole that is bridged
  double stiffness = 0.02;        // weight of the third difference of control points, in data points a knot
  double shortest_rim_mm = 40.0;
};

struct RimOutline {
  RimCurve curve;         // body frame plan, at the rim corner
  double lean_rad = 0.0;  // mean; positive = the side goes outward below
};

// Refuses with no_rim_found where no chain of wall cells is long enough.
[[nodiscard]] Outcome<RimOutline> trace_outline(const SurfaceCells& cells, const Orientation& orientation,
                                                const OutlineSettings& settings);

}  // namespace rimwright
