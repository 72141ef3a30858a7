#include "measure/summarise_scan.h"

#include <algorithm>
#include <cmath>
#include <limits>

#include "measure/measure_bevel.h"

namespace rimwright {

double noise_of_cells(const SurfaceCells& cells, const std::vector<std::uint32_t>& which) {
  std::vector<float> spreads;
  spreads.reserve(which.size());
  for (const auto i : which) spreads.push_back(cells.cells[i].spread_mm);
  if (spreads.empty()) return 0.0;
  const auto middle = spreads.begin() + static_cast<std::ptrdiff_t>(spreads.size() / 2);
  std::nth_element(spreads.begin(), middle, spreads.end());
  return static_cast<double>(*middle);
}

Outcome<NoiseModel> noise_of_rim(const UnrolledRim& rim, const FittedRim& fitted, Workers& workers) {
  const FaceFits &side = *fitted.find(FaceName::side), &top = *fitted.find(FaceName::top);
  std::size_t both = 0;
  for (std::size_t i = 0; i < fitted.station_mm.size(); ++i) both += side.at[i].measured && top.at[i].measured;
  constexpr std::size_t fewest = 20;
  if (both < fewest)
    return refuse(RefusalReason::no_rim_found,
                  "side and top could be fitted together at " + std::to_string(both) + " stations of the rim only",
                  "scan at least 60 mm of rim with 40 mm of side and 50 mm of top in view");
  // Wide enough for the scan's own noise: a gate within it would take the noise for less than it is.
  double noisiest_mm = 0.0;
  for (std::size_t i = 0; i < fitted.station_mm.size(); ++i)
    if (side.at[i].measured && top.at[i].measured)
      noisiest_mm = std::max({noisiest_mm, side.at[i].noise_mm, top.at[i].noise_mm});
  constexpr double cell_mm = 2.0, gate_sigmas = 5.0;
  const double gate_mm = std::max(1.0, gate_sigmas * noisiest_mm);
  constexpr double enough =
      100.0;  // a cell: over thousands of cells shared error shows from a hundredth of the noise on
  return estimate_noise(grid_face(rim, fitted, side, cell_mm, 0.0, gate_mm, workers, enough),
                        grid_face(rim, fitted, top, cell_mm, 0.0, gate_mm, workers, enough), fitted);
}

void summarise_scan(Measures& measures, std::size_t points, const Vector3& origin_scan_mm, const UnrolledRim& rim,
                    const FittedRim& fitted, const NoiseModel& noise, double lean_rad) {
  ScanSummary& scan = measures.scan;
  scan.points = points;
  scan.points_near_rim = rim.station_mm.size();
  scan.noise_mm = noise.white_sigma_mm;
  scan.correlated_noise_mm = noise.correlated_sigma_mm;
  scan.correlation_length_mm = noise.correlation_length_mm;
  scan.rim_length_mm = rim.curve.length_mm();
  scan.rim_closed = rim.curve.closed();
  scan.lean_deg = degrees_from_radians(lean_rad);
  const auto& c = rim.top.coefficients;
  const double bend = c[3] + c[5];  // mean curvature of the quadric
  scan.dome_radius_mm = std::abs(bend) > 1e-6 ? -1.0 / bend : std::numeric_limits<double>::infinity();

  const CaptureTerms terms{.origin_scan_mm = origin_scan_mm};
  std::vector<double> densities;
  std::size_t seen = 0;
  const FaceFits& top = *fitted.find(FaceName::top);
  for (std::size_t i = 0; i < fitted.station_mm.size(); ++i) {
    const auto section = section_at(rim, fitted, i);
    seen += section.has_value();
    const double s = fitted.station_mm[i];
    const Vector2 corner = section ? section->corner_mm : Vector2(0.0, 0.0);
    measures.rim_scan_mm.push_back(at_scan(rim, terms, s, corner));
    measures.rim_station_mm.push_back(s);
    measures.rim_plan_mm.push_back(rim.curve.point(s) + corner.x() * rim.curve.out(s));
    const FaceFit& fit = top.at[i];
    if (fit.measured)
      densities.push_back(fit.points / std::max(1.0, 2.0 * fit.window_mm * std::abs(fit.to_t_mm - fit.from_t_mm)));
  }
  scan.seen_share = static_cast<double>(seen) / static_cast<double>(fitted.station_mm.size());
  if (!densities.empty()) {
    const auto middle = densities.begin() + static_cast<std::ptrdiff_t>(densities.size() / 2);
    std::nth_element(densities.begin(), middle, densities.end());
    scan.spacing_mm = 1.0 / std::sqrt(std::max(1e-6, *middle));  // of a square grid of that density
  }
}

}  // namespace rimwright
