// Strips of the bevel beside its edges, from which the edges are extended (a crowned face meets its neighbours where
// the strip says, not where the straight line through all of it does). Frames and units as in FaceFit.
#pragma once

#include "measure/fit_faces.h"

namespace rimwright {

// The tangent of a strip's parabola at another t, as a straight fit about that t, covariances brought along.
[[nodiscard]] FaceFit tangent_at(const FaceFit& strip, double t_mm);

// A parabola does not follow a hump or a hollow; close to the edge the face may still be straight. The shorter strip
// takes the longer one's place where the two disagree on where the face ends, or where the longer one scatters, by more
// than chance allows; how far they disagree tells how well the form of the face is known there (FaceFit::form_u_mm).
// edge_end: the strip's end at the edge; beyond: -1 or +1, the way from there to the edge.
void prefer_short_where_long_misfits(FaceFits& strip, const FaceFits& shorter, double FaceFit::*edge_end,
                                     double beyond);

}  // namespace rimwright
