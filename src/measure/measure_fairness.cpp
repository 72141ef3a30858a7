#include "measure/measure_fairness.h"

#include <algorithm>
#include <cmath>
#include <limits>
#include <numbers>

#include "core/median.h"
#include "measure/band_height.h"
#include "measure/fair_curve.h"
#include "measure/measure_bevel.h"

namespace rimwright {

namespace {

constexpr double nan = std::numeric_limits<double>::quiet_NaN();
constexpr double least_seen_share = 0.7;  // of the stretch; with less there is no telling what waves the rest has
// A place less sure than this many times the usual one would make waves by itself; one as sure as this does no harm.
constexpr double times_median = 3.0, sure_mm = 0.05;

std::size_t column_of(const FaceGrid& grid, const BevelStation& station) {
  return static_cast<std::size_t>(std::lround((station.station_mm - grid.first_station_mm) / grid.station_step_mm));
}

// Mean height of the bevel face at a station from its lower to its upper edge, along its normal, and how noise passes
// to it: its variance for points with a noise of 1 mm. What a hump adds to the scatter is not in that, so that a hump
// still counts as a wave.
struct FaceHeight {
  double mm = 0.0;
  double leverage = 0.0;
  double from_middle_mm = 0.0;  // along the face, from the middle of the fitted points to that of the face
  double form_u_mm = 0.0;       // standard uncertainty from what the face's form may be where it is not seen
};

// The fitted line at the middle of the face, and what a crown adds that the line through the seen part does not hold.
std::optional<FaceHeight> height_of_face(const UnrolledRim& rim, const FittedRim& fitted, std::size_t at,
                                         const BevelStation& station, const NoiseModel& noise) {
  const auto section = section_at(rim, fitted, at);
  if (!section || section->fits.bevel == nullptr) return std::nullopt;
  const auto lower = lower_edge(section->faces), upper = upper_edge(section->faces);
  if (!lower || !upper) return std::nullopt;
  const FaceFits& face = *fitted.find(FaceName::bevel);
  const FaceFit& fit = *section->fits.bevel;
  const double from = lower->dot(face.along), to = upper->dot(face.along);
  const double seen = std::abs(fit.to_t_mm - fit.from_t_mm), shown = seen + 2.0 * fit.margin_mm;
  const double middle = 0.5 * (fit.from_t_mm + fit.to_t_mm);
  // Neither edges that have crossed nor a sliver of the face tell its mean height.
  if (!(to - from > 0.5 * shown) || shown < 0.5 * (to - from)) return std::nullopt;
  // y = bend (t - middle)^2: its least-squares line over the seen part lies bend seen^2 / 12 above the vertex.
  const double mean_square = (std::pow(to - middle, 3) - std::pow(from - middle, 3)) / (3.0 * (to - from));
  const double by_crown = -4.0 / (shown * shown) * (mean_square - seen * seen / 12.0);
  const double d = 0.5 * (from + to) - fit.t0_mm;
  const double variance = fit.variance_a + 2.0 * d * fit.covariance_ab + d * d * fit.variance_b;
  const double unseen_share = std::max(0.0, 1.0 - shown / (to - from));
  return FaceHeight{fit.a_mm + fit.b * d + by_crown * station.crown_mm, variance / (fit.noise_mm * fit.noise_mm), d,
                    std::hypot(by_crown * station.crown_u_mm, 2.0 * unseen_share * misfit_mm(noise, fit))};
}

// Longest run of stations near the full drop, by index. Waves of the face move the edge less than that, as a rule;
// where they move it more, the drop comes back within a wave and stays, which a run-out's does not. Rim that is not
// seen neither ends a run nor counts as a wave.
std::pair<std::size_t, std::size_t> longest_full_run(const std::vector<double>& station_mm,
                                                     const std::vector<double>& drop_mm, double full_mm) {
  constexpr double near_mm = 0.6, longest_wave_mm = 60.0, back_for_mm = 5.0;
  const double deepest_wave_mm = std::min(3.0, 0.25 * full_mm);
  const auto is_near = [&](std::size_t i) { return drop_mm[i] >= full_mm - near_mm; };
  std::size_t first = 0, last = 0;
  for (std::size_t i = 0; i < drop_mm.size(); ++i) {
    if (!is_near(i)) continue;
    std::size_t end = i;
    double low_mm = 0.0, back_mm = 0.0;
    for (std::size_t k = i + 1; k < drop_mm.size() && drop_mm[k] > full_mm - deepest_wave_mm; ++k) {
      const double step_mm = std::min(station_mm[k] - station_mm[k - 1], back_for_mm);
      back_mm = is_near(k) ? back_mm + step_mm : 0.0;
      low_mm = is_near(k) ? low_mm : low_mm + step_mm;
      if (low_mm > longest_wave_mm) break;
      if (!is_near(k) || (low_mm > 0.0 && back_mm < back_for_mm)) continue;
      end = k;
      low_mm = 0.0;
    }
    if (end - i > last - first) first = i, last = end;
    i = end;
  }
  return {first, last};
}

}  // namespace

double trusted_u(const std::vector<BevelStation>& stations, Measured BevelStation::*edge) {
  std::vector<double> u;
  for (const auto& station : stations)
    if ((station.*edge).is_measured()) u.push_back((station.*edge).combined_u());
  return u.empty() ? 0.0 : std::max(sure_mm, times_median * median_of(u));
}

std::optional<FullStretch> full_stretch(const std::vector<BevelStation>& stations) {
  std::vector<double> s, drop;
  for (const auto& station : stations)
    if (station.drop_mm.is_measured()) {
      s.push_back(station.station_mm);
      drop.push_back(station.drop_mm.value);
    }
  if (s.size() < 10) return std::nullopt;
  std::vector<double> sorted = drop;
  std::sort(sorted.begin(), sorted.end());
  const auto upper = std::lower_bound(sorted.begin(), sorted.end(), 0.8 * sorted.back());
  const double full = *(upper + (sorted.end() - upper) * 3 / 5);

  const auto [first, last] = longest_full_run(s, drop, full);
  // A run-out leaves the full drop like a parabola (raised cosine and circle do to second order), so from a place r
  // below it, where it has steepness k, it is 2 r / k to go. A straight run-out needs half of that.
  const auto still_to_go = [&](std::size_t at, std::size_t inside) {
    const double below = full - drop[at];
    const double steepness = (drop[inside] - drop[at]) / std::max(0.5, std::abs(s[inside] - s[at]));
    constexpr double least_steepness = 0.015, longest_mm = 40.0, spare_mm = 5.0;
    if (below < 0.08 || steepness < least_steepness) return 0.0;
    return std::min(longest_mm, 2.0 * below / steepness + spare_mm);
  };
  constexpr std::size_t reach = 4;
  FullStretch stretch;
  stretch.from_mm = s[first] + still_to_go(first, std::min(last, first + reach));
  stretch.to_mm = s[last] - still_to_go(last, last >= first + reach ? last - reach : first);
  std::vector<double> inside;
  for (std::size_t i = first; i <= last; ++i)
    if (s[i] >= stretch.from_mm && s[i] <= stretch.to_mm) inside.push_back(drop[i]);
  if (inside.size() < 10) return std::nullopt;
  stretch.drop_mm = median_of(inside);
  return stretch;
}

void measure_fairness(BevelMeasures& bevel, const UnrolledRim& rim, const FittedRim& fitted, const FaceGrid& grid,
                      const ExpectedBevel& expected, const NoiseModel& noise, const FairRim& fair) {
  const auto stretch = full_stretch(bevel.stations);
  const double shortest_needed = expected.shortest_wave_mm * 2.0;
  if (!stretch || stretch->length_mm() < shortest_needed) {
    const Measured why = Measured::not_measured(
        RefusalReason::not_present, "the bevel is at its full drop over too short a stretch to judge waves", "");
    bevel.waviness_mm = bevel.lower_edge_fairness_mm = bevel.upper_edge_fairness_mm = why;
    return;
  }
  const FaceFits& face = *fitted.find(FaceName::bevel);
  const double step = grid.station_step_mm;
  const std::vector<double>& curve = fair.unfairness_mm;
  // Where a run-out begins is told no better than this from within, and rather too far in.
  constexpr double end_unsure_mm = 8.0;
  const auto sample_at = [&](double station_mm) {
    return static_cast<std::ptrdiff_t>(std::lround((station_mm - grid.first_station_mm) / step));
  };
  const double asked_about = stretch->length_mm() / step;  // stations
  const std::pair asked(sample_at(stretch->from_mm - end_unsure_mm), sample_at(stretch->to_mm + end_unsure_mm));

  // Waviness: the face's mean height from edge to edge at each station, above the rim as it would be if it were fair.
  std::vector<std::pair<std::size_t, FaceHeight>> heights;
  std::vector<double> leverages, leverages_of_a_point;
  for (const auto& station : bevel.stations) {
    if (station.station_mm < stretch->from_mm || station.station_mm > stretch->to_mm) continue;
    const std::size_t c = column_of(grid, station);
    const auto height = height_of_face(rim, fitted, c, station, noise);
    if (!height) continue;
    heights.emplace_back(c, *height);
    leverages.push_back(height->leverage);
    leverages_of_a_point.push_back(height->leverage * face.at[c].points);
  }
  // Beside a hole the height hangs on points to one side of it, and a face that bends would make a wave by itself: with
  // half of what as many points usually tell, or with a ninth of what is usual altogether, it does not count.
  constexpr double times_usual_of_as_many = 2.0, times_usual = 9.0;
  const double most_of_as_many = times_usual_of_as_many * median_of(leverages_of_a_point);
  const double most_leverage = times_usual * median_of(leverages);
  std::vector<double> profile(grid.columns, nan);
  std::vector<double> form_u_mm(grid.columns, 0.0);
  double white_squared = 0, shared_squared = 0, windows_mm = 0, seen = 0;
  for (const auto& [c, height] : heights) {
    const FaceFit& fit = face.at[c];
    if (height.leverage > most_leverage || height.leverage * fit.points > most_of_as_many) continue;
    profile[c] = height.mm + curve[c] * face.normal.x();
    // A local parabola over 2 h passes noise as a mean over 8 h / 9 does; the band's filter averages on from there.
    white_squared += height.leverage * fit.noise_mm * fit.noise_mm *
                     noise_share(8.0 / 9.0 * fit.window_mm, expected.shortest_wave_mm);
    const auto shared = correlated_variance(noise, fit.window_mm, std::abs(fit.to_t_mm - fit.from_t_mm));
    shared_squared += shared.of_height + height.from_middle_mm * height.from_middle_mm * shared.of_slope;
    form_u_mm[c] = height.form_u_mm;
    windows_mm += fit.window_mm;
    seen += 1;
  }
  if (seen < least_seen_share * asked_about)
    bevel.waviness_mm =
        Measured::not_measured(RefusalReason::not_seen, "too much of the face is missing to judge waves",
                               "scan the bevel again from end to end");
  else
    bevel.waviness_mm = height_in_band(
        profile, step, {expected.shortest_wave_mm, expected.longest_wave_mm},
        {std::sqrt(white_squared / seen), std::sqrt(shared_squared / seen), form_u_mm, windows_mm / seen, asked});

  // Edges: drop and reach already stand on the fitted faces; the curve's own unfairness goes to the upper edge only,
  // since the drop runs down the side.
  const auto fairness_of = [&](Measured BevelStation::*edge, double BevelStation::*bend_u, const FaceFits& strip,
                               auto&& place_mm) {
    std::vector<double> places(grid.columns, nan), form_u(grid.columns, 0.0);
    const double most_u = trusted_u(bevel.stations, edge);
    double white_u = 0, shared_u = 0, window_mm = 0, count = 0;
    for (const auto& station : bevel.stations) {
      const Measured& measured = station.*edge;
      if (station.station_mm < stretch->from_mm || station.station_mm > stretch->to_mm || !measured.is_measured() ||
          measured.combined_u() > most_u)
        continue;
      const std::size_t c = column_of(grid, station);
      places[c] = place_mm(measured.value, c);
      form_u[c] = measured.u(UncertaintySource::face_form);
      // What the top's bend leaves open is the same all along the rim, and no wave.
      const double top_bend_u = station.*bend_u;
      white_u += std::sqrt(std::max(0.0, std::pow(measured.u(UncertaintySource::point_noise), 2) +
                                             std::pow(measured.u(UncertaintySource::reference_faces), 2) -
                                             top_bend_u * top_bend_u));
      shared_u += measured.u(UncertaintySource::correlated);
      window_mm += (strip.at[c].measured ? strip : face).at[c].window_mm;
      count += 1;
    }
    if (count < least_seen_share * asked_about)
      return Measured::not_measured(RefusalReason::not_seen,
                                    "over too much of the bevel this edge is missing or unsure, as beside a hump",
                                    "put the face right or scan it again from end to end");
    return height_in_band(places, step, {expected.shortest_edge_wave_mm, expected.longest_edge_wave_mm},
                          {white_u / count, shared_u / count, form_u, window_mm / count, asked});
  };
  bevel.lower_edge_fairness_mm = fairness_of(&BevelStation::drop_mm, &BevelStation::drop_u_of_top_bend_mm,
                                             fitted.lower_strip, [](double drop_mm, std::size_t) { return drop_mm; });
  bevel.upper_edge_fairness_mm = fairness_of(&BevelStation::top_reach_mm, &BevelStation::reach_u_of_top_bend_mm,
                                             fitted.upper_strip, [&](double reach_mm, std::size_t c) {
                                               // The upper edge's own place: the rim corner may leave the curve where
                                               // the side is unfair.
                                               const auto section = section_at(rim, fitted, c);
                                               return reach_mm - (section ? section->corner_mm.x() : 0.0) - curve[c];
                                             });
}

}  // namespace rimwright
