#include "pipelines/measure_rim.h"

#include <algorithm>

#include "measure/doubt_fits.h"
#include "measure/find_torn.h"
#include "measure/measure_channels.h"
#include "measure/measure_fairness.h"
#include "measure/pick_points.h"
#include "measure/picture_sections.h"
#include "measure/summarise_scan.h"

namespace rimwright {

namespace {

constexpr std::size_t most_heat_points = 1'500'000, most_face_points = 200'000, most_section_points = 240;

// The fitted sections of one rim, and what is needed to turn them into measures.
Measures measure_sections(const UnrolledRim& rim, const FittedRim& fitted, const FairRim& fair, const NoiseModel& noise,
                          const Expected& expected, const CaptureTerms& terms, const MeasureRimSettings& settings,
                          Workers& workers) {
  Measures measures;
  std::vector<TargetFace> targets;
  const FaceFits* face = fitted.find(FaceName::bevel);
  measures.bevel_planned = face != nullptr;
  FaceGrid grid;
  if (face != nullptr) {
    const double gate_mm = std::max(1.0, 4.0 * noise.white_sigma_mm);  // nearer ones cut the tails of noise, and form
    grid = grid_face(rim, fitted, *face, 0.5, -0.6, gate_mm, workers);
    measures.bevel.stations = measure_bevel(rim, fitted, grid, noise, terms, settings.bevel, workers);
    if (expected.block) measures.block = measure_block(measures.bevel.stations, *expected.block);
  }
  workers.do_all({
      [&] {
        if (face == nullptr) return;
        targets = target_faces(rim, fitted, measures.bevel, *expected.bevel);
        measures.map = map_deviation(fitted, grid, targets, noise);
        measure_fairness(measures.bevel, rim, fitted, grid, *expected.bevel, noise, fair);
      },
      [&] { measures.channels = measure_channels(rim, fitted, expected, noise, terms); },
      [&] { measures.sections = picture_sections(rim, fitted, most_section_points); },
  });
  measures.gaps = find_gaps(measures.bevel, measures.channels);
  measures.torn = find_torn_places(rim, fitted, noise, settings.torn, workers);
  measures.heat_points = heat_points(rim, fitted, targets, terms, most_heat_points, workers);
  measures.face_points = face_points(rim, fitted, targets, terms, noise, most_face_points, workers);
  return measures;
}

}  // namespace

Outcome<Measures> measure_rim(Cloud cloud, const Expected& expected, const MeasureRimSettings& settings,
                              Workers& workers) {
  const auto cells = gather_cells(cloud, settings.gather, workers);
  if (!cells) return tl::unexpected(cells.error());
  const auto oriented = orient(*cells, settings.orient, workers);
  if (!oriented) return tl::unexpected(oriented.error());
  const Orientation orientation = refit_top(*oriented, cloud, *cells, settings.refit_top, workers);
  const auto outline = trace_outline(*cells, orientation, settings.outline);
  if (!outline) return tl::unexpected(outline.error());
  const std::size_t points = cloud.size();
  UnrolledRim rim = unroll(cloud, orientation, outline->curve, settings.unroll, workers, work_down_mm(expected));

  const double first_noise_mm = noise_of_cells(*cells, orientation.top_cells);
  const auto sections = segment_sections(rim, first_noise_mm, outline->lean_rad, expected, settings.segment, workers);
  const FaceTracks tracks = name_faces(sections, rim, first_noise_mm, outline->lean_rad, expected, settings.name);
  FittedRim fitted = fit_faces(rim, tracks, first_noise_mm, outline->lean_rad, settings.fit, workers);
  doubt_fits(fitted, settings.doubt);
  const auto seen_noise = noise_of_rim(rim, fitted, workers);
  if (!seen_noise) return tl::unexpected(seen_noise.error());
  const NoiseModel noise = with_capture_error(*seen_noise, cloud.capture_error);

  FairRim fair;
  if (expected.bevel) {
    fair = fair_rim(rim.curve, fitted.station_mm,
                    std::max(expected.bevel->longest_wave_mm, expected.bevel->longest_edge_wave_mm), settings.fair,
                    workers);
    fitted.turns = section_turns(fair, rim, fitted.station_mm);
  }
  const CaptureTerms terms{cloud.scale.relative_standard_u, cloud.capture_error, cloud.origin_mm,
                           orientation.tilt_u_rad};
  Measures measures = measure_sections(rim, fitted, fair, noise, expected, terms, settings, workers);
  summarise_scan(measures, points, cloud.origin_mm, rim, fitted, noise, outline->lean_rad);
  give_back_points(rim, workers);
  return measures;
}

}  // namespace rimwright
