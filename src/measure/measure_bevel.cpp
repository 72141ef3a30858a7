#include "measure/measure_bevel.h"

#include <algorithm>
#include <cmath>
#include <numbers>
#include <optional>

#include "measure/edge_strips.h"
#include "measure/face_form.h"

namespace rimwright {

std::optional<StationSection> section_at(const UnrolledRim& rim, const FittedRim& fitted, std::size_t station,
                                         double turned_rad) {
  const FaceFits* side = fitted.find(FaceName::side);
  const FaceFits* top = fitted.find(FaceName::top);
  if (side == nullptr || top == nullptr || !side->at[station].measured || !top->at[station].measured)
    return std::nullopt;
  StationSection section;
  SectionTurn turn = fitted.turn_at(station);
  turn.rad += turned_rad;
  section.faces.side = line_of(*side, side->at[station], turn);
  section.faces.top = top_of(rim, fitted.station_mm[station], &top->at[station], turn);
  section.fits.side = &side->at[station];
  section.fits.top = &top->at[station];
  const FaceFits* bevel = fitted.find(FaceName::bevel);
  if (bevel != nullptr && bevel->at[station].measured) {
    section.faces.bevel = line_of(*bevel, bevel->at[station], turn);
    section.fits.bevel = &bevel->at[station];
    // Where a strip alone could not be fitted (a narrow face, a hole), the whole face stands for it. The strip's
    // parabola is extended to the edge: first by its tangent at its end, then by the tangent at the edge found so.
    const auto extend = [&](const FaceFits& part, double FaceFit::*end, SectionLine& line, std::optional<FaceFit>& fit,
                            std::optional<Vector2> (*edge_of)(const SectionFaces&)) {
      const FaceFits& source = part.at[station].measured ? part : *bevel;
      const FaceFit& strip = source.at[station];
      fit = tangent_at(strip, strip.*end);
      line = line_of(source, *fit, turn);
      if (const auto edge = edge_of(section.faces)) {
        const double edge_t_mm = edge->dot(source.along);
        fit = tangent_at(strip, edge_t_mm);
        fit->form_u_mm =
            std::hypot(fit->form_u_mm, bend_doubt_mm(strip, strip.*end, edge_t_mm, fitted.usual_bend_per_mm));
        line = line_of(source, *fit, turn);
      }
    };
    extend(fitted.lower_strip, &FaceFit::from_t_mm, section.faces.lower_strip, section.fits.lower_strip, lower_edge);
    extend(fitted.upper_strip, &FaceFit::to_t_mm, section.faces.upper_strip, section.fits.upper_strip, upper_edge);
  }
  section.corner_mm = rim_corner(section.faces);
  return section;
}

void add_capture_terms(Measured& measured, const CaptureTerms& terms, bool is_length) {
  if (!measured.is_measured()) return;
  if (is_length) measured.u(UncertaintySource::scale) = std::abs(measured.value) * terms.relative_scale_u;
  // A warp of standard deviation sigma that changes over a length L leans two faces apart by sqrt(2) sigma / L at most.
  const auto lean_deg = [](double sigma_mm, double over_mm) {
    return degrees_from_radians(std::numbers::sqrt2 * sigma_mm / over_mm);
  };
  const CaptureError& error = terms.error;
  double patch = 0.0, warp = 0.0;
  if (error.correlated_sigma_mm > 0.0 && error.correlation_length_mm > 0.0)
    patch = is_length ? error.correlated_sigma_mm : lean_deg(error.correlated_sigma_mm, error.correlation_length_mm);
  // A warp far longer than what is measured only stretches it: by sigma / L of its length.
  if (error.warp_mm > 0.0 && error.warp_length_mm > 0.0)
    warp = is_length ? std::abs(measured.value) * error.warp_mm / error.warp_length_mm
                     : lean_deg(error.warp_mm, error.warp_length_mm);
  if (patch > 0.0 || warp > 0.0) measured.u(UncertaintySource::capture) = std::hypot(patch, warp);
}

Vector3 at_scan(const UnrolledRim& rim, const CaptureTerms& terms, double station_mm, const Vector2& out_up) {
  return terms.origin_scan_mm + rim.scan_point_mm(station_mm, out_up.x(), out_up.y());
}

namespace {

// Change of the face's slope by a crown of 1 mm where a channel has cut more of it away beside one edge: the line
// through the seen part of a parabola leans from the line through all of it, by twice its bend times the distance of
// the middles.
double slope_per_crown(const FaceFits& face, const FaceFit& fit, const Vector2& lower, const Vector2& upper) {
  const double shown = std::abs(fit.to_t_mm - fit.from_t_mm) + 2.0 * fit.margin_mm;
  const double between_middles =
      0.5 * (lower.dot(face.along) + upper.dot(face.along)) - 0.5 * (fit.from_t_mm + fit.to_t_mm);
  return -8.0 / (shown * shown) * between_middles;
}

// How far the fair rim's way may be off shows where the bevel moves along the rim.
void add_turn(BevelStation& station, const UnrolledRim& rim, const FittedRim& fitted, std::size_t at,
              const StationSection& section) {
  const double u_rad = fitted.turn_at(at).u_rad;
  if (u_rad <= 0.0) return;
  const auto turned = section_at(rim, fitted, at, u_rad);
  const auto lower = lower_edge(turned->faces), upper = upper_edge(turned->faces);
  const auto add = [](Measured& measured, double change) {
    if (!measured.is_measured()) return;
    double& u = measured.u(UncertaintySource::reference_faces);
    u = std::hypot(u, change);
  };
  add(station.angle_deg, degrees_from_radians(bevel_angle_rad(turned->faces) - bevel_angle_rad(section.faces)));
  if (lower) add(station.drop_mm, length_down_side(turned->faces, turned->corner_mm, *lower) - station.drop_mm.value);
  if (upper)
    add(station.top_reach_mm, length_along_top(turned->faces, turned->corner_mm, *upper) - station.top_reach_mm.value);
}

// Nothing where the bevel is no more than an edge.
std::optional<BevelStation> measure_station(const UnrolledRim& rim, const FittedRim& fitted, const FaceFits& bevel,
                                            const FaceGrid& grid, const NoiseModel& noise, const CaptureTerms& terms,
                                            const BevelSettings& settings, std::size_t i) {
  const FaceFit& fit = bevel.at[i];
  if (!fit.measured) return std::nullopt;
  BevelStation station;
  station.station_mm = fitted.station_mm[i];
  auto section = section_at(rim, fitted, i);
  if (!section) {
    const FaceFits* side = fitted.find(FaceName::side);
    const bool side_missing = side == nullptr || !side->at[i].measured;
    const auto why = Measured::not_measured(
        RefusalReason::not_seen, side_missing ? "the side is not seen here" : "the top is not seen here",
        side_missing ? "scan the side 40 mm down from the rim" : "scan the top 50 mm in from the rim");
    station.angle_deg = station.drop_mm = station.top_reach_mm = station.straightness_mm = why;
    station.at_scan_mm = at_scan(rim, terms, station.station_mm, {0.0, 0.0});
    return station;
  }
  const auto lower = lower_edge(section->faces), upper = upper_edge(section->faces);
  if (!lower || !upper) return std::nullopt;
  const double drop = length_down_side(section->faces, section->corner_mm, *lower);
  const double reach = length_along_top(section->faces, section->corner_mm, *upper);
  if (drop < settings.smallest_drop_mm || reach < settings.smallest_drop_mm) return std::nullopt;

  station.at_scan_mm = at_scan(rim, terms, station.station_mm, section->corner_mm);
  const FaceForm form = measure_face_form(grid, i, bevel, noise, fitted.usual_bend_per_mm);
  station.straightness_mm = form.straightness_mm;
  station.crown_mm = form.crown_mm;
  station.crown_u_mm = form.crown_u_mm;
  const SectionFits& f = section->fits;
  const SectionFits angle_fits{.side = f.side, .bevel = f.bevel};
  const SectionFits drop_fits{.side = f.side, .top = f.top, .lower_strip = f.lower_strip};
  const SectionFits reach_fits{.side = f.side, .top = f.top, .upper_strip = f.upper_strip};
  const double narrowest_mm =
      std::max(settings.narrowest_face_mm, settings.narrowest_face_sigmas * noise.white_sigma_mm);
  const double per_crown = slope_per_crown(bevel, fit, *lower, *upper);
  SectionFaces whole_face = section->faces;
  whole_face.bevel.b += per_crown * form.crown_mm;
  if (std::abs(fit.to_t_mm - fit.from_t_mm) >= narrowest_mm)
    station.angle_deg = propagate([](const SectionFaces& faces) { return bevel_angle_rad(faces); }, whole_face,
                                  angle_fits, noise, degrees_from_radians(1.0));
  else
    station.angle_deg =
        Measured::not_measured(RefusalReason::not_separable, "the face is too narrow here to hold an angle");
  const SectionQuantity drop_of = [](const SectionFaces& faces) {
    return length_down_side(faces, rim_corner(faces), lower_edge(faces).value_or(rim_corner(faces)));
  };
  const SectionQuantity reach_of = [](const SectionFaces& faces) {
    return length_along_top(faces, rim_corner(faces), upper_edge(faces).value_or(rim_corner(faces)));
  };
  station.drop_mm = propagate(drop_of, section->faces, drop_fits, noise);
  station.top_reach_mm = propagate(reach_of, section->faces, reach_fits, noise);
  station.drop_u_of_top_bend_mm = u_of_top_bend(drop_of, section->faces, *f.top, noise);
  station.reach_u_of_top_bend_mm = u_of_top_bend(reach_of, section->faces, *f.top, noise);
  add_turn(station, rim, fitted, i, *section);
  if (station.angle_deg.is_measured()) {
    // Where the face moves along the rim, a section that leans by the tilt of `up` cuts it at another angle:
    // d(slope) = shift per millimetre x tilt x cosine of the face's lie.
    const double tilted = std::abs(fit.shift_along) * terms.tilt_u_rad * std::abs(bevel.along.y());
    station.angle_deg.u(UncertaintySource::reference_faces) =
        std::hypot(station.angle_deg.u(UncertaintySource::reference_faces), degrees_from_radians(tilted));
  }
  // A face that is not straight across has no one angle: what its points scatter beyond the noise, over its width.
  if (station.angle_deg.is_measured())
    station.angle_deg.u(UncertaintySource::face_form) = degrees_from_radians(
        std::hypot(2.0 * misfit_mm(noise, fit) / std::abs(fit.to_t_mm - fit.from_t_mm), per_crown * form.crown_u_mm));
  add_capture_terms(station.angle_deg, terms, false);
  for (Measured* length : {&station.drop_mm, &station.top_reach_mm, &station.straightness_mm})
    add_capture_terms(*length, terms, true);
  return station;
}

}  // namespace

std::vector<BevelStation> measure_bevel(const UnrolledRim& rim, const FittedRim& fitted, const FaceGrid& grid,
                                        const NoiseModel& noise, const CaptureTerms& terms,
                                        const BevelSettings& settings, Workers& workers) {
  const FaceFits* bevel = fitted.find(FaceName::bevel);
  if (bevel == nullptr) return {};
  std::vector<std::optional<BevelStation>> measured(fitted.station_mm.size());
  constexpr std::size_t stations_at_once = 16;
  workers.for_chunks(measured.size(), stations_at_once, [&](std::size_t begin, std::size_t end, std::size_t) {
    for (std::size_t i = begin; i < end; ++i)
      measured[i] = measure_station(rim, fitted, *bevel, grid, noise, terms, settings, i);
  });
  std::vector<BevelStation> stations;
  for (auto& station : measured)
    if (station) stations.push_back(std::move(*station));
  return stations;
}

std::vector<BlockStation> measure_block(const std::vector<BevelStation>& bevel, const ExpectedBlock& block) {
  std::vector<BlockStation> stations;
  for (const auto& b : bevel) {
    BlockStation station{b.station_mm, b.at_scan_mm, b.top_reach_mm, b.drop_mm};
    // The block's own size is the plan's; what is left beyond the edge carries the edge's uncertainty.
    if (station.top_left_mm.is_measured()) station.top_left_mm.value = block.top_mm - b.top_reach_mm.value;
    if (station.side_left_mm.is_measured()) station.side_left_mm.value = block.side_mm - b.drop_mm.value;
    stations.push_back(std::move(station));
  }
  return stations;
}

}  // namespace rimwright
