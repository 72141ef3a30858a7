#include "measure/fit_faces.h"

#include <algorithm>
#include <cmath>
#include <span>

#include "measure/add_points.h"
#include "measure/edge_strips.h"
#include "measure/face_moments.h"
#include "measure/face_spans.h"
#include "measure/fit_window.h"
#include "measure/profile_frame.h"
#include "measure/section_geometry.h"

namespace rimwright {

namespace {

class FaceFitter {
 public:
  FaceFitter(const UnrolledRim& rim, const FaceTracks& tracks, const FaceTrack& track, FacePart part, double noise_mm,
             double lean_rad, const FitSettings& settings, Workers& workers)
      : rim_(rim),
        tracks_(tracks),
        settings_(settings),
        part_(part),
        noise_mm_(noise_mm),
        lean_rad_(lean_rad),
        workers_(workers) {
    fits_.track = &track;
    fits_.from_upright_rad = nominal_angle(track);
    const double angle = fits_.from_upright_rad;
    fits_.along = Vector2(-std::sin(angle), std::cos(angle));
    fits_.normal = Vector2(fits_.along.y(), -fits_.along.x());
    is_top_ = track.name == FaceName::top;
    is_reference_ = track.name == FaceName::side || is_top_;
    is_ledge_ = track.name == FaceName::floor || track.name == FaceName::wall;
    stations_ = static_cast<std::size_t>(std::max(1.0, std::floor(rim.curve.length_mm() / settings.station_step_mm)));
    for (std::size_t i = 0; is_top_ && i <= stations_; ++i) {
      const SectionTop top = top_of(rim, static_cast<double>(i) * settings.station_step_mm, nullptr);
      domes_.push_back({top.rise, top.bend});
    }
  }

  FaceFits fit() {
    spans_ = spans_of_track(tracks_, fits_, part_, stations_, noise_mm_, settings_);
    for (int round = 0; round < rounds; ++round) {
      if (round > 0) spans_from_fits();
      takes_all_ = round == rounds - 1;
      gather();
      fit_windows();
    }
    return std::move(fits_);
  }

 private:
  // Mean direction of the track, from the upright towards the inside; upright and level faces use exactly that.
  static double nominal_angle(const FaceTrack& track) {
    if (track.lie == Lie::upright) return 0.0;
    if (track.lie == Lie::level) return std::numbers::pi / 2;
    std::vector<double> angles;
    for (std::size_t i = 0; i < track.present.size(); ++i)
      if (track.present[i]) angles.push_back(std::numbers::pi / 4 - std::atan(track.piece[i].slope));
    if (angles.empty()) return std::numbers::pi / 4;
    const auto middle = angles.begin() + static_cast<std::ptrdiff_t>(angles.size() / 2);
    std::nth_element(angles.begin(), middle, angles.end());
    return *middle;
  }

  [[nodiscard]] double station(std::size_t i) const {
    return (static_cast<double>(i) + 0.5) * settings_.station_step_mm;
  }

  // Height of the quadric top in the section, about its own height at the rim.
  [[nodiscard]] double top_height(double station_mm, double out_mm) const {
    const Vector2 plan = rim_.curve.point(station_mm) + out_mm * rim_.curve.out(station_mm);
    return rim_.top.height_mm(plan.x(), plan.y()) - rim_.rim_height_mm(station_mm);
  }

  // Keeps the extents, replaces line and gate by the fit of the round before.
  void spans_from_fits() {
    for (std::size_t i = 0; i < stations_; ++i) {
      const FaceFit& fit = fits_.at[i];
      FaceSpan& span = spans_[i];
      if (!fit.measured) continue;
      span.a_mm = fit.a_mm - fit.b * fit.t0_mm;
      span.b = fit.b;
      span.shift_along = fit.shift_along;
      // The gate holds the form of the face too: a hollow of 0.1 mm is not an outlier.
      const double sigmas = is_ledge_ ? settings_.ledge_outlier_sigmas : settings_.outlier_sigmas;
      span.gate_mm =
          std::max(0.15, sigmas * std::clamp(fit.noise_mm, 0.5 * noise_mm_, is_ledge_ ? 1.5 * noise_mm_ + 0.02 : 1e9));
    }
  }

  void gather() {
    for (FaceSpan& span : spans_) {
      if (is_ledge_ && (span.to_along_mm - span.from_along_mm) / along_per_t(fits_) <
                           settings_.narrowest_ledge_sigmas * noise_mm_ * 0.4)
        span.present = false;
      if (!span.present) continue;
      span.from_t_mm = t_on_line(span.from_along_mm, span.a_mm, span.b);
      span.to_t_mm = t_on_line(span.to_along_mm, span.a_mm, span.b);
    }
    slices_.assign(stations_, {});
    for_stations([&](std::size_t i) { gather_station(i); });
  }

  // Each station on its own, in parallel.
  template <class Body>
  void for_stations(const Body& body) {
    constexpr std::size_t at_once = 16;
    workers_.for_chunks(stations_, at_once, [&](std::size_t begin, std::size_t end, std::size_t) {
      for (std::size_t i = begin; i < end; ++i)
        if (spans_[i].present) body(i);
    });
  }

  void gather_station(std::size_t i) {
    const FaceSpan& span = spans_[i];
    // Extents move along the rim (run-outs): follow them within the slice.
    const FaceSpan& before = i > 0 && spans_[i - 1].present ? spans_[i - 1] : span;
    const FaceSpan& after = i + 1 < stations_ && spans_[i + 1].present ? spans_[i + 1] : span;
    const double steps = (&before != &span ? 1.0 : 0.0) + (&after != &span ? 1.0 : 0.0);
    const double per_mm = steps > 0 ? 1.0 / (steps * settings_.station_step_mm) : 0.0;
    const double from_slope = (after.from_t_mm - before.from_t_mm) * per_mm;
    const double to_slope = (after.to_t_mm - before.to_t_mm) * per_mm;
    const auto [from_along, to_along] = places_of(span, from_slope, to_slope);
    const auto slices_a_station = static_cast<std::size_t>(std::lround(settings_.station_step_mm / rim_.slice_mm));
    FaceAtStation face{span, fits_.along, fits_.normal, station(i), settings_.station_step_mm, from_slope, to_slope};
    if (is_top_) face.domes = &domes_[i];
    // In the first round the top's line is the segmentation's, which holds no quadric; later rounds fit without it.
    face.line_holds_dome = fits_.at.empty();
    // Points of the neighbouring wall scatter into a floor's t; they stand out along the profile.
    if (is_ledge_) face.spare_along_mm = 2.0 * noise_mm_;
    for (std::size_t slice = i * slices_a_station; slice < (i + 1) * slices_a_station; ++slice) {
      const UnrolledRim::Range range = rim_.points_between(slice, from_along, to_along);
      // The rounds before the last only set lines and gates, for which an even share of a very dense slice is enough.
      const double share = static_cast<double>(range.end - range.begin) / settings_.points_a_slice;
      const std::size_t every = takes_all_ ? 1 : std::max<std::size_t>(1, static_cast<std::size_t>(share));
      add_points(slices_[i], rim_, {range.begin, range.end, every}, face);
    }
  }

  // Between which places along the profile the span's points and those it counts as rejected lie.
  [[nodiscard]] std::pair<double, double> places_of(const FaceSpan& span, double from_slope, double to_slope) const {
    constexpr double rejected_within_mm = 1.0;  // of the gate; what is farther off is another face, or clutter
    const double half_mm = 0.5 * settings_.station_step_mm;
    const double beyond_y = span.gate_mm + rejected_within_mm + std::abs(span.shift_along) * half_mm;
    const double per_y = std::abs(profile_along(fits_.normal.x(), fits_.normal.y()));
    double low = std::numeric_limits<double>::infinity(), high = -low;
    for (const double ds : {-half_mm, half_mm})
      for (const double t : {span.from_t_mm + from_slope * ds, span.to_t_mm + to_slope * ds}) {
        const double along = profile_along_at(t, span.a_mm + span.b * t);
        low = std::min(low, along);
        high = std::max(high, along);
      }
    // A domed top leaves its line by its rise and sagitta.
    double beyond_along = per_y * beyond_y;
    if (is_top_) {
      constexpr double steepest = 0.12;  // a dome's slope at its edge, and more
      beyond_along += steepest * std::max(std::abs(span.from_t_mm), std::abs(span.to_t_mm));
    }
    return {low - beyond_along, high + beyond_along};
  }

  [[nodiscard]] double profile_along_at(double t, double y) const {
    const Vector2 p = t * fits_.along + y * fits_.normal;
    return profile_along(p.x(), p.y());
  }

  void fit_windows() {
    std::vector<FaceFit> fits(stations_);
    for_stations([&](std::size_t i) { fits[i] = fit_at(i); });
    fits_.at = std::move(fits);
  }

  [[nodiscard]] std::size_t half_window(std::size_t i) const {
    const double step = settings_.station_step_mm;
    const auto whole = [&](double mm) { return static_cast<std::size_t>(std::lround(mm / step)); };
    const auto points_within = [&](std::size_t half) {
      double points = 0.0;
      for (std::size_t j = i >= half ? i - half : 0; j <= std::min(stations_ - 1, i + half); ++j)
        points += slices_[j].points;
      return points;
    };
    if (!is_ledge_) {
      std::size_t half = whole(is_reference_ ? settings_.reference_window_mm : settings_.bevel_window_mm);
      const double width = std::max(1.0, (spans_[i].to_along_mm - spans_[i].from_along_mm) / along_per_t(fits_));
      const double wanted =
          12.0 * std::pow(noise_mm_ / (width * settings_.wanted_slope_u), 2);  // u(slope) = s sqrt(12 / n) / w
      while (half < whole(settings_.longest_window_mm) && points_within(half) < wanted) ++half;
      return half;
    }
    std::size_t half = static_cast<std::size_t>(settings_.ledge_window_mm / step);
    const double finer = std::min(1.0, noise_mm_ / settings_.noise_of_ledge_points_mm);
    const double wanted = std::max(settings_.fewest_ledge_points, settings_.ledge_points * finer * finer);
    while (half < whole(settings_.longest_ledge_window_mm) && points_within(half) < wanted) ++half;
    return half;
  }

  [[nodiscard]] FaceFit fit_at(std::size_t i) const {
    const std::size_t half = half_window(i);
    // Only the unbroken stretch around the station: a window never reaches across an interruption.
    std::size_t first = i, last = i;
    while (first > 0 && i - first < half && spans_[first - 1].present) --first;
    while (last + 1 < stations_ && last - i < half && spans_[last + 1].present) ++last;

    WindowModel model;
    model.fewest_points = settings_.fewest_points;
    const double width = (spans_[i].to_along_mm - spans_[i].from_along_mm) / along_per_t(fits_);
    model.bends_across = part_ != FacePart::whole && width >= settings_.narrowest_bend_mm;
    if (model.bends_across) model.known_bend = {settings_.usual_bend_per_mm, std::max(noise_mm_, 1e-3)};
    // The angle may itself bend along the rim (it drifts); side and top, and ledges, do not turn so fast.
    model.may_turn_unevenly = fits_.track->name == FaceName::bevel;
    // A floor is often narrower than its slope could be seen on; its lie is known from how it is cut.
    if (is_ledge_)
      model.known_slope = {expected_slope(i), settings_.ledge_slope_freedom, std::max(0.5 * noise_mm_, 1e-3)};
    const std::span<const SliceMoments> window(&slices_[first], last - first + 1);
    FaceFit fit = fit_window(window, i - first, settings_.station_step_mm, model);
    if (!fit.measured) return fit;
    fit.window_mm = 0.5 * static_cast<double>(window.size()) * settings_.station_step_mm;
    const auto t_at = [&](double along_mm) { return t_on_line(along_mm, fit.a_mm - fit.b * fit.t0_mm, fit.b); };
    fit.margin_mm = spans_[i].margin_mm;
    fit.from_t_mm = t_at(spans_[i].from_along_mm);
    fit.to_t_mm = t_at(spans_[i].to_along_mm);
    return fit;
  }

  // b of a ledge's face that lies as it is cut, parallel or square to the top or the side.
  [[nodiscard]] double expected_slope(std::size_t i) const {
    constexpr double reach = 5.0;
    const double rise =
        (top_height(station(i), 0.0) - top_height(station(i), -reach)) / reach;  // up per millimetre out
    // A ledge in the side follows the side: its floor is the upright face, its wall the level one.
    const bool in_side = (fits_.track->name == FaceName::floor) == (fits_.track->lie == Lie::upright);
    return in_side ? -std::tan(lean_rad_) : -rise;
  }

  // Where the line y = a + b t reaches a place along the profile (profile_along is linear in out and up).
  [[nodiscard]] double t_on_line(double along_mm, double a_mm, double b) const {
    const double per_t = profile_along(fits_.along.x(), fits_.along.y());
    const double per_y = profile_along(fits_.normal.x(), fits_.normal.y());
    return (along_mm - per_y * a_mm) / (per_t + per_y * b);
  }

  const UnrolledRim& rim_;
  const FaceTracks& tracks_;
  FitSettings settings_;
  FacePart part_;
  double noise_mm_, lean_rad_;
  static constexpr int rounds = 3;
  bool is_top_ = false, is_reference_ = false, is_ledge_ = false, takes_all_ = false;
  std::size_t stations_ = 0;
  Workers& workers_;
  std::vector<SectionDome> domes_;  // at the borders of the stations' slices; of the top only
  std::vector<FaceSpan> spans_;
  std::vector<SliceMoments> slices_;
  FaceFits fits_;
};

}  // namespace

const FaceFits* FittedRim::find(FaceName name, std::size_t channel, std::size_t step) const {
  const bool numbered = name == FaceName::floor || name == FaceName::wall;
  for (const auto& face : faces)
    if (face.track->name == name && (!numbered || (face.track->channel == channel && face.track->step == step)))
      return &face;
  return nullptr;
}

FittedRim fit_faces(const UnrolledRim& rim, const FaceTracks& tracks, double noise_mm, double lean_rad,
                    const FitSettings& settings, Workers& workers) {
  FittedRim fitted;
  fitted.usual_bend_per_mm = settings.usual_bend_per_mm;
  const auto stations =
      static_cast<std::size_t>(std::max(1.0, std::floor(rim.curve.length_mm() / settings.station_step_mm)));
  for (std::size_t i = 0; i < stations; ++i)
    fitted.station_mm.push_back((static_cast<double>(i) + 0.5) * settings.station_step_mm);
  struct Job {
    const FaceTrack* track;
    FacePart part;
    FaceFits* result;
  };
  std::vector<Job> jobs;
  FaceFits lower_short, upper_short;
  fitted.faces.resize(tracks.tracks.size());
  for (std::size_t k = 0; k < tracks.tracks.size(); ++k) {
    jobs.push_back({&tracks.tracks[k], FacePart::whole, &fitted.faces[k]});
    if (tracks.tracks[k].name != FaceName::bevel) continue;
    jobs.push_back({&tracks.tracks[k], FacePart::lower_strip, &fitted.lower_strip});
    jobs.push_back({&tracks.tracks[k], FacePart::upper_strip, &fitted.upper_strip});
    jobs.push_back({&tracks.tracks[k], FacePart::lower_short, &lower_short});
    jobs.push_back({&tracks.tracks[k], FacePart::upper_short, &upper_short});
  }
  for (const Job& job : jobs)
    *job.result = FaceFitter(rim, tracks, *job.track, job.part, noise_mm, lean_rad, settings, workers).fit();
  prefer_short_where_long_misfits(fitted.lower_strip, lower_short, &FaceFit::from_t_mm, -1.0);
  prefer_short_where_long_misfits(fitted.upper_strip, upper_short, &FaceFit::to_t_mm, 1.0);
  return fitted;
}

}  // namespace rimwright
