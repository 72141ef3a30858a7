// What perfect knowledge of the noise would give: the Cramer-Rao bound of every quantity at a station.
//
// The ideal measurer knows the noise, meets no outlier, knows which face each point is on, and fits to all points of
// each face, up to its very edges, the model of fit_faces.h: a straight line across that may shift, bend and turn along
// a window of the rim; the bevel may also turn unevenly (its angle drifts), and its edges are those of a strip that may
// bend across (a crown). These freedoms are the measuring's own: a defect uses each of them, so an ideal measurer may
// not assume it away. The window is the one the settings of the fit would take for this noise and density (FitSettings:
// it grows until the slope across is sure enough). With n points evenly spread over a width w, independent noise s
// along the normal: variance of the line at its middle 9/4 s^2/n (value of a least-squares parabola at its middle), of
// its slope 12 s^2/(n w^2), 9/4 of that for the bevel, and of the strip, read x half widths from its middle,
// 9/4 (1 + 3 x^2) s^2/n + P2(x)^2 / (n / 5 s^2 + 1 / (f w^2 / 6)^2): x is 1 at an edge that stands, more where a
// channel cut the edge away, and f what faces usually bend, as the fit knows it. Sensitivities by differences on the
// true section. White noise only.
#pragma once

#include <map>
#include <string>
#include <vector>

#include "measure/fit_faces.h"
#include "simulate/body.h"

namespace rimwright {

struct IdealStep {
  double width_u_mm = 0.0, depth_u_mm = 0.0;  // standard uncertainties; 0 where the step is not there
};
struct IdealStation {
  double angle_u_deg = 0.0, drop_u_mm = 0.0, top_reach_u_mm = 0.0;  // 0 where there is no bevel
  std::vector<std::vector<IdealStep>> channels;
};

[[nodiscard]] IdealStation ideal_bound(const Body& body, double station_mm, double density_per_mm2, double noise_mm,
                                       const FitSettings& settings);

}  // namespace rimwright
