#include "measure/measure_bevel.h"

#include <Eigen/Cholesky>
#include <algorithm>
#include <cmath>
#include <numbers>

#include "measure/edge_strips.h"

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
        fit = tangent_at(strip, edge->dot(source.along));
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

// Standard deviation of a face's crown before it is seen: half of the usual limit of straightness.
constexpr double usual_crown_mm = 0.1;

// Peak to valley of the face across, from a quartic through the window's cell means: straight line taken out.
struct AcrossForm {
  Measured straightness_mm;
  double crown_mm = 0.0, crown_u_mm = usual_crown_mm;
};

AcrossForm across_form(const FaceGrid& grid, std::size_t column, const FaceFit& fit, const NoiseModel& noise) {
  const double half_window_mm = fit.window_mm;
  AcrossForm form;
  // Fitted clear of the edges, told over all that the face shows, edge to edge.
  const double from = std::min(fit.from_t_mm, fit.to_t_mm) - fit.margin_mm;
  const double to = std::max(fit.from_t_mm, fit.to_t_mm) + fit.margin_mm;
  const double half_width = 0.5 * (to - from), middle = 0.5 * (to + from);
  // A quartic for a wide face, a parabola for a narrow one: never more terms than three millimetres each.
  const int terms = half_width * 2 >= 12.0 ? 5 : 3;
  if (half_width * 2 < 4.0) {
    form.straightness_mm = Measured::not_measured(RefusalReason::not_separable, "the face is narrower than 4 mm here");
    return form;
  }
  using Row = Eigen::Matrix<double, 5, 1>;
  Eigen::Matrix<double, 5, 5> normal = Eigen::Matrix<double, 5, 5>::Identity() * 1e-9;
  Row right = Row::Zero();
  double points = 0;
  // Points in each part of what is fitted, across: fifths, or fewer where a part would be narrower than two rows.
  const auto parts =
      static_cast<std::size_t>(std::clamp((to - from - 2.0 * fit.margin_mm) / (2.0 * grid.t_step_mm), 1.0, 5.0));
  std::vector<double> by_part(parts, 0.0);
  const auto half = static_cast<std::ptrdiff_t>(std::lround(half_window_mm / grid.station_step_mm));
  const auto row_of = [&](double t) {
    const double x = (t - middle) / half_width;
    Row r = Row::Zero();
    double power = 1.0;
    for (int k = 0; k < terms; ++k, power *= x) r[k] = power;
    return r;
  };
  for (std::ptrdiff_t d = -half; d <= half; ++d) {
    const auto c = static_cast<std::ptrdiff_t>(column) + d;
    if (c < 0 || c >= static_cast<std::ptrdiff_t>(grid.columns)) continue;
    // The face moves along the rim in a run-out; its form is what is left when that is taken off.
    const double ds = static_cast<double>(d) * grid.station_step_mm;
    const double shift = fit.shift_along * ds + fit.bend_along * ds * ds;
    for (std::size_t r = 0; r < grid.rows; ++r) {
      const std::size_t cell = grid.index(r, static_cast<std::size_t>(c));
      const double t = grid.t(r);
      if (grid.count[cell] < 1.0F || t < from + fit.margin_mm || t > to - fit.margin_mm) continue;
      const Row a = row_of(t);
      normal += static_cast<double>(grid.count[cell]) * a * a.transpose();
      right += static_cast<double>(grid.count[cell]) *
               (static_cast<double>(grid.mean_mm[cell]) - shift - fit.a_mm -
                (fit.b + fit.twist_along * ds) * (t - fit.t0_mm)) *
               a;
      points += static_cast<double>(grid.count[cell]);
      const double share = (t - from - fit.margin_mm) / (to - from - 2.0 * fit.margin_mm);
      const double part = std::clamp(static_cast<double>(parts) * share, 0.0, static_cast<double>(parts) - 0.5);
      by_part[static_cast<std::size_t>(part)] += static_cast<double>(grid.count[cell]);
    }
  }
  if (points < 10.0 * terms) {
    form.straightness_mm = Measured::not_measured(RefusalReason::too_few_points, "too few points across the face");
    return form;
  }
  // A tenth of an even share: less, and the quartic would be free there.
  if (*std::min_element(by_part.begin(), by_part.end()) < 0.1 * points / static_cast<double>(parts)) {
    form.straightness_mm = Measured::not_measured(RefusalReason::not_seen, "part of the face's width is missing here",
                                                  "scan the bevel again from edge to edge");
    return form;
  }
  for (int k = terms; k < 5; ++k) normal(k, k) = 1.0;
  const Eigen::LDLT<Eigen::Matrix<double, 5, 5>> solver(normal);
  const Row quartic = solver.solve(right);
  // The least-squares line of the form itself goes; sampled evenly, the line's normal equations are diagonal.
  constexpr int samples = 25;
  std::array<double, samples> heights{};
  double mean = 0, lever = 0, levers = 0;
  for (int k = 0; k < samples; ++k) {
    const double x = 2.0 * k / (samples - 1) - 1.0;
    heights[static_cast<std::size_t>(k)] = row_of(middle + x * half_width).dot(quartic);
    mean += heights[static_cast<std::size_t>(k)] / samples;
    lever += heights[static_cast<std::size_t>(k)] * x;
    levers += x * x;
  }
  double high = -1e9, low = 1e9;
  std::size_t at_high = 0, at_low = 0;
  for (int k = 0; k < samples; ++k) {
    const double x = 2.0 * k / (samples - 1) - 1.0;
    const double height = heights[static_cast<std::size_t>(k)] - mean - lever / levers * x;
    if (height > high) high = height, at_high = static_cast<std::size_t>(k);
    if (height < low) low = height, at_low = static_cast<std::size_t>(k);
  }
  // Variance of a peak-to-valley height: that of the difference of the quartic at the two places.
  const auto place = [&](std::size_t k) {
    return row_of(middle + (2.0 * static_cast<double>(k) / (samples - 1) - 1.0) * half_width);
  };
  const Row difference = place(at_high) - place(at_low);
  const double variance = difference.dot(solver.solve(difference)) * fit.noise_mm * fit.noise_mm;
  // Error shared by neighbours bends the face as a whole: what is left of it after the line is taken out, between
  // places about half a width apart.
  const double half_apart = std::exp(-0.5 * std::pow(half_width / std::max(0.1, noise.correlation_length_mm), 2));
  const double shared_variance =
      2.0 * correlated_variance(noise, half_window_mm, half_width * 0.5).of_height * (1.0 - half_apart);
  // Noise alone makes peaks: the height of a straight face would come out near two standard deviations of the
  // difference. What the noise explains is taken off in squares.
  const double noise_height_squared = 4.0 * (variance + shared_variance);
  const double height = high - low;
  form.straightness_mm.value = std::sqrt(std::max(0.0, height * height - noise_height_squared));
  form.straightness_mm.u(UncertaintySource::point_noise) = std::sqrt(variance);
  form.straightness_mm.u(UncertaintySource::correlated) = std::sqrt(shared_variance);
  form.straightness_mm.u(UncertaintySource::face_form) =
      height * height > noise_height_squared ? 0.5 * (height - form.straightness_mm.value) : 0.5 * height;
  form.straightness_mm.points_used = static_cast<std::size_t>(points);
  // The crown a face usually has holds that of a noisy or narrow one: the mean of two independent values of it.
  const Row bulge = place(samples / 2) - 0.5 * (place(0) + place(samples - 1));
  const double crown_variance = bulge.dot(solver.solve(bulge)) * fit.noise_mm * fit.noise_mm;
  const double share = usual_crown_mm * usual_crown_mm / (usual_crown_mm * usual_crown_mm + crown_variance);
  form.crown_mm = share * bulge.dot(quartic);
  form.crown_u_mm = std::sqrt(share * crown_variance);
  return form;
}

}  // namespace

std::vector<BevelStation> measure_bevel(const UnrolledRim& rim, const FittedRim& fitted, const FaceGrid& grid,
                                        const NoiseModel& noise, const CaptureTerms& terms,
                                        const BevelSettings& settings) {
  std::vector<BevelStation> stations;
  const FaceFits* bevel = fitted.find(FaceName::bevel);
  if (bevel == nullptr) return stations;
  for (std::size_t i = 0; i < fitted.station_mm.size(); ++i) {
    const FaceFit& fit = bevel->at[i];
    if (!fit.measured) continue;
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
      stations.push_back(std::move(station));
      continue;
    }
    const auto lower = lower_edge(section->faces), upper = upper_edge(section->faces);
    if (!lower || !upper) continue;
    const double drop = length_down_side(section->faces, section->corner_mm, *lower);
    const double reach = length_along_top(section->faces, section->corner_mm, *upper);
    if (drop < settings.smallest_drop_mm || reach < settings.smallest_drop_mm) continue;

    station.at_scan_mm = at_scan(rim, terms, station.station_mm, section->corner_mm);
    const SectionFits& f = section->fits;
    const SectionFits angle_fits{.side = f.side, .bevel = f.bevel};
    const SectionFits drop_fits{.side = f.side, .top = f.top, .lower_strip = f.lower_strip};
    const SectionFits reach_fits{.side = f.side, .top = f.top, .upper_strip = f.upper_strip};
    const double narrowest_mm =
        std::max(settings.narrowest_face_mm, settings.narrowest_face_sigmas * noise.white_sigma_mm);
    if (std::abs(fit.to_t_mm - fit.from_t_mm) >= narrowest_mm)
      station.angle_deg = propagate([](const SectionFaces& faces) { return bevel_angle_rad(faces); }, section->faces,
                                    angle_fits, noise, degrees_from_radians(1.0));
    else
      station.angle_deg =
          Measured::not_measured(RefusalReason::not_separable, "the face is too narrow here to hold an angle");
    station.drop_mm = propagate(
        [](const SectionFaces& faces) {
          return length_down_side(faces, rim_corner(faces), lower_edge(faces).value_or(rim_corner(faces)));
        },
        section->faces, drop_fits, noise);
    station.top_reach_mm = propagate(
        [](const SectionFaces& faces) {
          return length_along_top(faces, rim_corner(faces), upper_edge(faces).value_or(rim_corner(faces)));
        },
        section->faces, reach_fits, noise);
    add_turn(station, rim, fitted, i, *section);
    const AcrossForm form = across_form(grid, i, fit, noise);
    station.straightness_mm = form.straightness_mm;
    station.crown_mm = form.crown_mm;
    station.crown_u_mm = form.crown_u_mm;
    if (station.angle_deg.is_measured()) {
      // Where the face moves along the rim, a section that leans by the tilt of `up` cuts it at another angle:
      // d(slope) = shift per millimetre x tilt x cosine of the face's lie.
      const double tilted = std::abs(fit.shift_along) * terms.tilt_u_rad * std::abs(bevel->along.y());
      station.angle_deg.u(UncertaintySource::reference_faces) =
          std::hypot(station.angle_deg.u(UncertaintySource::reference_faces), degrees_from_radians(tilted));
    }
    // A face that is not straight across has no one angle: what its points scatter beyond the noise, over its width.
    if (station.angle_deg.is_measured())
      station.angle_deg.u(UncertaintySource::face_form) =
          degrees_from_radians(2.0 * misfit_mm(noise, fit) / std::abs(fit.to_t_mm - fit.from_t_mm));
    add_capture_terms(station.angle_deg, terms, false);
    for (Measured* length : {&station.drop_mm, &station.top_reach_mm, &station.straightness_mm})
      add_capture_terms(*length, terms, true);
    stations.push_back(std::move(station));
  }
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
