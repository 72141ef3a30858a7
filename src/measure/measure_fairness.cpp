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
constexpr double times_median = 3.0;  // a place less sure than this many times the usual one would make waves by itself

std::size_t column_of(const FaceGrid& grid, const BevelStation& station) {
  return static_cast<std::size_t>(std::lround((station.station_mm - grid.first_station_mm) / grid.station_step_mm));
}

// Mean height of the bevel face at a station from its lower to its upper edge, along its normal: the fitted line at the
// middle, and what a crown adds that the line through the seen part does not hold.
std::optional<double> height_of_face(const UnrolledRim& rim, const FittedRim& fitted, std::size_t station,
                                     double crown_mm) {
  const auto section = section_at(rim, fitted, station);
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
  const double bend = -4.0 * crown_mm / (shown * shown);
  const double mean_square = (std::pow(to - middle, 3) - std::pow(from - middle, 3)) / (3.0 * (to - from));
  return fit.a_mm + fit.b * (0.5 * (from + to) - fit.t0_mm) + bend * (mean_square - seen * seen / 12.0);
}

// How noise passes to a fit's height: its variance over that of a point. What a hump adds to the scatter is not in it,
// so that a hump still counts as a wave.
double leverage_of(const FaceFit& fit) { return fit.variance_a / (fit.noise_mm * fit.noise_mm); }

// Leverage beyond which a fit does not count: beside a hole its height hangs on few points, all to one side of it, and
// would make a wave by itself.
double most_leverage(const FaceFits& face, const std::vector<BevelStation>& stations, const FullStretch& stretch,
                     const FaceGrid& grid) {
  std::vector<double> leverages;
  for (const auto& station : stations) {
    if (station.station_mm < stretch.from_mm || station.station_mm > stretch.to_mm) continue;
    const FaceFit& fit = face.at[column_of(grid, station)];
    if (fit.measured) leverages.push_back(leverage_of(fit));
  }
  return times_median * times_median * median_of(leverages);
}

}  // namespace

double trusted_u(const std::vector<BevelStation>& stations, Measured BevelStation::*edge) {
  std::vector<double> u;
  for (const auto& station : stations)
    if ((station.*edge).is_measured()) u.push_back((station.*edge).combined_u());
  return u.empty() ? 0.0 : times_median * median_of(u);
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

  // Longest run of stations near the full drop: waves of the face move the edge less than this.
  constexpr double near_mm = 0.6;
  std::size_t first = 0, last = 0;
  for (std::size_t i = 0; i < drop.size();) {
    if (drop[i] < full - near_mm) {
      ++i;
      continue;
    }
    std::size_t end = i;
    while (end + 1 < drop.size() && drop[end + 1] >= full - near_mm) ++end;
    if (end - i > last - first) first = i, last = end;
    i = end + 1;
  }
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

  // Waviness: the face's mean height from edge to edge at each station, above the rim as it would be if it were fair.
  std::vector<double> profile(grid.columns, nan);
  double white_squared = 0, shared_squared = 0, windows_mm = 0, seen = 0, looked_at = 0;
  const double most = most_leverage(face, bevel.stations, *stretch, grid);
  for (const auto& station : bevel.stations) {
    if (station.station_mm < stretch->from_mm || station.station_mm > stretch->to_mm) continue;
    looked_at += 1;
    const std::size_t c = column_of(grid, station);
    if (leverage_of(face.at[c]) > most) continue;
    const auto height = height_of_face(rim, fitted, c, station.crown_mm);
    if (!height) continue;
    const FaceFit& fit = face.at[c];
    profile[c] = *height + curve[c] * face.normal.x();
    // A local parabola over 2 h passes noise as a mean over 8 h / 9 does; the band's filter averages on from there.
    white_squared += fit.variance_a * noise_share(8.0 / 9.0 * fit.window_mm, expected.shortest_wave_mm);
    shared_squared += correlated_variance(noise, fit.window_mm, std::abs(fit.to_t_mm - fit.from_t_mm)).of_height;
    windows_mm += fit.window_mm;
    seen += 1;
  }
  constexpr double least_seen_share = 0.7;
  if (seen < least_seen_share * looked_at)
    bevel.waviness_mm =
        Measured::not_measured(RefusalReason::not_seen, "too much of the face is missing to judge waves",
                               "scan the bevel again from end to end");
  else
    bevel.waviness_mm =
        height_in_band(profile, step, {expected.shortest_wave_mm, expected.longest_wave_mm},
                       {std::sqrt(white_squared / seen), std::sqrt(shared_squared / seen), windows_mm / seen});

  // Edges: drop and reach already stand on the fitted faces; the curve's own unfairness goes to the upper edge only,
  // since the drop runs down the side.
  const auto fairness_of = [&](Measured BevelStation::*edge, const FaceFits& strip, auto&& place_mm) {
    std::vector<double> places(grid.columns, nan);
    const double most_u = trusted_u(bevel.stations, edge);
    double white_u = 0, shared_u = 0, window_mm = 0, count = 0;
    for (const auto& station : bevel.stations) {
      const Measured& measured = station.*edge;
      if (station.station_mm < stretch->from_mm || station.station_mm > stretch->to_mm || !measured.is_measured() ||
          measured.combined_u() > most_u)
        continue;
      const std::size_t c = column_of(grid, station);
      places[c] = place_mm(measured.value, c);
      white_u += std::hypot(measured.u(UncertaintySource::point_noise), measured.u(UncertaintySource::reference_faces));
      shared_u += measured.u(UncertaintySource::correlated);
      window_mm += (strip.at[c].measured ? strip : face).at[c].window_mm;
      count += 1;
    }
    return height_in_band(places, step, {expected.shortest_edge_wave_mm, expected.longest_edge_wave_mm},
                          {white_u / count, shared_u / count, window_mm / count});
  };
  bevel.lower_edge_fairness_mm =
      fairness_of(&BevelStation::drop_mm, fitted.lower_strip, [](double drop_mm, std::size_t) { return drop_mm; });
  bevel.upper_edge_fairness_mm =
      fairness_of(&BevelStation::top_reach_mm, fitted.upper_strip, [&](double reach_mm, std::size_t c) {
        // The upper edge's own place: the rim corner may leave the curve where the side is unfair.
        const auto section = section_at(rim, fitted, c);
        return reach_mm - (section ? section->corner_mm.x() : 0.0) - curve[c];
      });
}

}  // namespace rimwright
