// The rim as it would be if it were fair, and how far the scanned rim departs from that.
//
// A fair outline is drawn in long sweeps: along each the curvature changes evenly (arcs, straights and clothoids are
// the plainest), and it changes its course at few places. In plan that is a cubic spline with few knots, nearly
// exactly, if the knots stand where the course changes; so the knots are moved there by least squares (free-knot
// splines, de Boor 1978, chapter XIV). Knots at even places would leave up to 0.1 mm of the design as if it were
// unfair.
#pragma once

#include <vector>

#include "rim/rim_curve.h"

namespace rimwright {

struct FairCurveSettings {
  double knots_in_longest_wave = 0.75;  // mean spacing, as a share of the longest wavelength that counts as unfair
  double closest_knots_mm = 15.0;
  double farthest_move_mm = 20.0;  // of a knot in one step of the search; halved four times
  int rounds = 3;
};

// Departure from fair (wavelengths up to longest_mm), outward positive, mm, at each station. What is left beyond the
// band is for the band's own filter.
[[nodiscard]] std::vector<double> unfairness_of_curve(const RimCurve& curve, const std::vector<double>& station_mm,
                                                      double longest_mm, const FairCurveSettings& settings);

}  // namespace rimwright
