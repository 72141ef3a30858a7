#include "pipelines/measure_rim.h"

#include <algorithm>

#include "measure/measure_channels.h"

namespace rimwright {

namespace {

double noise_of_top(const SurfaceCells& cells, const Orientation& orientation) {
  std::vector<float> spreads;
  for (const auto i : orientation.top_cells) spreads.push_back(cells.cells[i].spread_mm);
  const auto middle = spreads.begin() + static_cast<std::ptrdiff_t>(spreads.size() / 2);
  std::nth_element(spreads.begin(), middle, spreads.end());
  return *middle;
}

}  // namespace

Outcome<Measures> measure_rim(const Cloud& cloud, const Expected& expected, const MeasureRimSettings& settings,
                              Workers& workers) {
  const auto cells = gather_cells(cloud, settings.gather, workers);
  if (!cells) return tl::unexpected(cells.error());
  const auto orientation = orient(*cells, settings.orient);
  if (!orientation) return tl::unexpected(orientation.error());
  const auto outline = trace_outline(*cells, *orientation, settings.outline);
  if (!outline) return tl::unexpected(outline.error());
  const UnrolledRim rim = unroll(cloud, *orientation, outline->curve, settings.unroll, workers);

  const double start_noise_mm = noise_of_top(*cells, *orientation);
  const BevelGuess guess{expected.bevel.has_value(), expected.bevel ? expected.bevel->angle_rad : 0.0};
  const auto sections = segment_sections(rim, start_noise_mm, outline->lean_rad, guess, {}, settings.segment, workers);
  const FaceTracks tracks = name_faces(sections, rim, outline->lean_rad, expected, settings.name);
  const FittedRim fitted = fit_faces(rim, tracks, start_noise_mm, settings.fit, workers);
  const FaceGrid side = grid_face(rim, fitted, *fitted.find(FaceName::side), 2.0, 0.0, 1.0);
  const FaceGrid top = grid_face(rim, fitted, *fitted.find(FaceName::top), 2.0, 0.0, 1.0);
  const NoiseModel noise = estimate_noise(side, top, fitted);

  Measures measures;
  const CaptureTerms terms{cloud.scale.relative_standard_u, cloud.capture_error, cloud.origin_mm};
  if (const FaceFits* bevel = fitted.find(FaceName::bevel)) {
    const FaceGrid face = grid_face(rim, fitted, *bevel, 1.0, 0.0, 1.0);
    measures.bevel.stations = measure_bevel(rim, fitted, face, noise, terms, settings.bevel);
  }
  measures.channels = measure_channels(rim, fitted, expected, noise, terms);
  measures.scan.noise_mm = noise.white_sigma_mm;
  measures.scan.correlated_noise_mm = noise.correlated_sigma_mm;
  measures.scan.correlation_length_mm = noise.correlation_length_mm;
  measures.scan.rim_length_mm = outline->curve.length_mm();
  measures.scan.lean_deg = degrees_from_radians(outline->lean_rad);
  measures.scan.rim_closed = outline->curve.closed();
  measures.scan.points_near_rim = rim.station_mm.size();
  return measures;
}

}  // namespace rimwright
