// Strips of the bevel beside its edges, from which the edges are extended (a crowned face meets its neighbours where
// the strip says, not where the straight line through all of it does). Frames and units as in FaceFit.
#pragma once

#include "measure/fit_faces.h"

namespace rimwright {

// The tangent of a strip's parabola at another t, as a straight fit about that t, covariances brought along.
[[nodiscard]] FaceFit tangent_at(const FaceFit& strip, double t_mm);

// Standard uncertainty of where a strip's parabola meets a neighbour at edge_t_mm, beyond the end of what is seen of
// it: a face that bends more than faces do (usual_bend_per_mm, of FitSettings) more likely has a hump or a hollow
// there, which levels off beyond; what the parabola rises from its end to the edge by the bend it has too much. mm.
[[nodiscard]] double bend_doubt_mm(const FaceFit& strip, double end_t_mm, double edge_t_mm, double usual_bend_per_mm);

// The same fit held straight (q = 0): the mean of what is left of a joint normal distribution once q is known.
[[nodiscard]] FaceFit straightened(const FaceFit& strip);

// A parabola does not follow a hump or a hollow; close to the edge the face may still be straight. The shorter strip,
// straight unless its own points bend beyond chance, takes the longer one's place where the longer one scatters by more
// than chance allows, or where it disagrees on where the face ends, both with the shorter strip and with that strip's
// own parabola: a crown, which bends evenly, disagrees with a straight strip only. How far the one kept is from the
// other that might be right tells how well the form of the face is known there (FaceFit::form_u_mm). edge_end: the
// strip's end at the edge; beyond: -1 or +1, the way from there to the edge.
void prefer_short_where_long_misfits(FaceFits& strip, const FaceFits& shorter, double FaceFit::*edge_end,
                                     double beyond);

}  // namespace rimwright
