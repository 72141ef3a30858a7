// The rim as it would be if it were fair, and how far the scanned rim departs from that.
//
// A fair outline is drawn in long sweeps: along each the curvature changes evenly (arcs, straights and clothoids are
// the plainest), and it changes its course at few places. In plan that is a cubic spline with few knots, nearly
// exactly, if the knots stand where the course changes; so the knots are moved there by least squares (free-knot
// splines, de Boor 1978, chapter XIV). Knots at even places would leave up to 0.1 mm of the design as if it were
// unfair.
#pragma once

#include <vector>

#include "measure/fit_faces.h"
#include "rim/unroll.h"

namespace rimwright {

struct FairCurveSettings {
  double knots_in_longest_wave = 0.75;  // mean spacing, as a share of the longest wavelength that counts as unfair
  double closest_knots_mm = 15.0;
  double farthest_move_mm = 20.0;  // of a knot in one step of the search; halved four times
  int rounds = 3;
  double other_knots = 0.8;         // a second fair curve, with knots so much closer, tells how well the first is known
  double least_turn_u_rad = 0.001;  // where both agree; they leave as much on outlines drawn in arcs and clothoids
  double farthest_mm = 1.0;         // where the rim is farther from fair than this nearby, it goes round a tight corner
};

// How the scanned rim lies to the fair one, by station.
struct FairRim {
  std::vector<double> unfairness_mm;  // departure from fair (wavelengths up to longest_mm), outward positive; what is
                                      // left beyond the band is for the band's own filter
  // From the fair rim's way to the scanned one's, towards outward: a section across the scanned rim is turned by so
  // much. 0 where that is no more than twice its standard uncertainty, and near tight corners.
  std::vector<double> turn_rad, turn_u_rad;
};

[[nodiscard]] FairRim fair_rim(const RimCurve& curve, const std::vector<double>& station_mm, double longest_mm,
                               const FairCurveSettings& settings, Workers& workers);

// The turn of each station's section, with what else of the rim it takes to follow a face along it.
[[nodiscard]] std::vector<SectionTurn> section_turns(const FairRim& fair, const UnrolledRim& rim,
                                                     const std::vector<double>& station_mm);

}  // namespace rimwright
