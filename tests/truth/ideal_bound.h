// What perfect knowledge of the noise would give: the Cramer-Rao bound of every quantity at a station.
//
// The ideal measurer knows the noise, meets no outlier, knows which face each point is on, and fits to all points of
// each face, up to its very edges, the model of fit_faces.h: a straight line across that may shift, bend and turn along
// a window of the rim; the bevel may also turn unevenly (its angle drifts), and its edges are those of a strip that may
// bend across (a crown). These freedoms are the measuring's own: a defect uses each of them, so an ideal measurer may
// not assume it away. The window is the one the settings of the fit would take for this noise and density (FitSettings:
// it grows until the slope across is sure enough). With n points evenly spread over a width w, independent noise s
// along the normal: variance of a face's line at its middle 9/4 s^2/n (value of a least-squares parabola along the rim
// at its middle), of its slope 12 s^2/(n w^2). The bevel, whose width changes in a run-out and where a channel begins,
// is fitted by least squares over what the window truly holds of it, and so are the strips at its edges, whose bend
// across is known beforehand to what faces usually bend, as the fit knows it; where a channel cut an edge away, the
// strip is read that far beyond its points. Sensitivities by differences on the true section. White noise only.
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
