#include "measure/measure_fairness.h"

#include <Eigen/Cholesky>
#include <algorithm>
#include <cmath>
#include <limits>
#include <numbers>

#include "measure/gaussian_filter.h"
#include "measure/measure_bevel.h"

namespace rimwright {

namespace {

constexpr double nan = std::numeric_limits<double>::quiet_NaN();

double median_of(std::vector<double> values) {
  const auto middle = values.begin() + static_cast<std::ptrdiff_t>(values.size() / 2);
  std::nth_element(values.begin(), middle, values.end());
  return *middle;
}

// Peak to valley of a band, less what noise of the given standard deviation (in the band) would show by itself.
Measured height_in_band(const std::vector<double>& band, double step_mm, double shortest_mm, double white_u,
                        double shared_u) {
  Measured result;
  const PeakToValley seen = peak_to_valley(band);
  const auto samples =
      static_cast<double>(std::count_if(band.begin(), band.end(), [](double v) { return std::isfinite(v); }));
  const double independent = std::max(2.0, samples * step_mm / (0.5 * shortest_mm));
  const double u = std::hypot(white_u, shared_u);
  // Expected range of that many independent normal values, 2 sqrt(2 ln n) in the leading order.
  const double noise_height = 2.0 * u * std::sqrt(2.0 * std::log(independent));
  result.value = std::sqrt(std::max(0.0, seen.height * seen.height - noise_height * noise_height));
  result.u(UncertaintySource::point_noise) = std::numbers::sqrt2 * white_u;
  result.u(UncertaintySource::correlated) = std::numbers::sqrt2 * shared_u;
  result.u(UncertaintySource::face_form) = 0.5 * std::min(seen.height - result.value, noise_height);
  // What run-outs, the rim curve and the ends of the stretch leave in the band: sound simulated bodies without noise to
  // speak of show 0.00 to 0.02 mm.
  constexpr double run_out_rest_mm = 0.012;
  result.u(UncertaintySource::face_form) = std::hypot(result.u(UncertaintySource::face_form), run_out_rest_mm);
  result.points_used = static_cast<std::size_t>(samples);
  return result;
}

// Share of white noise variance, sampled every step, that a Gaussian of cutoff lc lets through.
double noise_share(double step_mm, double lc_mm) {
  const double alpha = std::sqrt(std::numbers::ln2 / std::numbers::pi);
  return std::min(1.0, step_mm / (alpha * lc_mm * std::numbers::sqrt2));
}

}  // namespace

double trusted_drop_u(const std::vector<BevelStation>& stations) {
  std::vector<double> u;
  for (const auto& station : stations)
    if (station.drop_mm.is_measured()) u.push_back(station.drop_mm.combined_u());
  constexpr double times_median = 3.0;
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

std::vector<double> unfairness_of_curve(const RimCurve& curve, const std::vector<double>& station_mm,
                                        double longest_mm) {
  // A fair rim: the least-squares cubic B-spline with knots too far apart to follow the band. A rim whose curvature
  // changes evenly (a clothoid) is such a spline nearly exactly, also at its ends. What is left beyond the band is
  // taken out by the band's own filter, which follows.
  constexpr double knots_in_longest_wave = 0.75;
  const auto spans =
      static_cast<Eigen::Index>(std::max(1.0, std::round(curve.length_mm() / (knots_in_longest_wave * longest_mm))));
  const auto count = static_cast<Eigen::Index>(station_mm.size());
  Eigen::MatrixXd basis = Eigen::MatrixXd::Zero(count, spans + 3);
  Eigen::MatrixX2d places(count, 2);
  for (Eigen::Index i = 0; i < count; ++i) {
    const double s = station_mm[static_cast<std::size_t>(i)];
    const double parameter = std::clamp(s / curve.length_mm(), 0.0, 1.0 - 1e-12) * static_cast<double>(spans);
    const auto span = static_cast<Eigen::Index>(parameter);
    const double t = parameter - static_cast<double>(span), u = 1 - t;
    basis(i, span) = u * u * u / 6;
    basis(i, span + 1) = (3 * t * t * t - 6 * t * t + 4) / 6;
    basis(i, span + 2) = (-3 * t * t * t + 3 * t * t + 3 * t + 1) / 6;
    basis(i, span + 3) = t * t * t / 6;
    places.row(i) = curve.point(s).transpose();
  }
  const Eigen::MatrixXd normal = basis.transpose() * basis + 1e-9 * Eigen::MatrixXd::Identity(spans + 3, spans + 3);
  const Eigen::MatrixX2d departure = places - basis * normal.ldlt().solve(basis.transpose() * places);
  std::vector<double> result(station_mm.size());
  for (std::size_t i = 0; i < result.size(); ++i)
    result[i] = departure.row(static_cast<Eigen::Index>(i)).dot(curve.out(station_mm[i]).transpose());
  return result;
}

void measure_fairness(BevelMeasures& bevel, const UnrolledRim& rim, const FittedRim& fitted, const FaceGrid& grid,
                      const ExpectedBevel& expected, const NoiseModel& noise) {
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
  const std::vector<double> curve = unfairness_of_curve(
      rim.curve, fitted.station_mm, std::max(expected.longest_wave_mm, expected.longest_edge_wave_mm));

  // Waviness: the face's mean height at each station, rows seen nearly all along.
  std::vector<std::size_t> columns;
  double low = -1e9, high = 1e9;
  for (std::size_t c = 0; c < grid.columns; ++c) {
    if (grid.station(c) < stretch->from_mm || grid.station(c) > stretch->to_mm || !face.at[c].measured) continue;
    columns.push_back(c);
    low = std::max(low, std::min(face.at[c].from_t_mm, face.at[c].to_t_mm));
    high = std::min(high, std::max(face.at[c].from_t_mm, face.at[c].to_t_mm));
  }
  std::vector<double> profile(grid.columns, nan);
  double points = 0.0;
  std::vector<double> row_mean(grid.rows, nan);
  for (std::size_t r = 0; r < grid.rows; ++r) {
    if (grid.t(r) < low || grid.t(r) > high) continue;
    double sum = 0, count = 0;
    for (const std::size_t c : columns)
      if (grid.count[grid.index(r, c)] > 0) sum += static_cast<double>(grid.mean_mm[grid.index(r, c)]), count += 1;
    if (count > 0.8 * static_cast<double>(columns.size())) row_mean[r] = sum / count;
  }
  for (const std::size_t c : columns) {
    double sum = 0, weight = 0;
    for (std::size_t r = 0; r < grid.rows; ++r) {
      const std::size_t cell = grid.index(r, c);
      if (!std::isfinite(row_mean[r]) || grid.count[cell] <= 0) continue;
      sum += static_cast<double>(grid.count[cell]) * (static_cast<double>(grid.mean_mm[cell]) - row_mean[r]);
      weight += static_cast<double>(grid.count[cell]);
    }
    if (weight < 5) continue;
    profile[c] = sum / weight + curve[c] * face.normal.x();
    points += weight / static_cast<double>(columns.size());
  }
  const double face_width = std::max(1.0, high - low);
  const double white =
      noise.white_sigma_mm / std::sqrt(std::max(1.0, points)) * std::sqrt(noise_share(step, expected.shortest_wave_mm));
  const double shared = std::sqrt(correlated_variance(noise, 0.25 * expected.shortest_wave_mm, face_width).of_mean);
  bevel.waviness_mm =
      height_in_band(wavelength_band(profile, step, expected.shortest_wave_mm, expected.longest_wave_mm), step,
                     expected.shortest_wave_mm, white, shared);

  // Edges: drop and reach already stand on the fitted faces; the curve's own unfairness goes to the upper edge only,
  // since the drop runs down the side.
  std::vector<double> lower(grid.columns, nan), upper(grid.columns, nan);
  const double most_u = trusted_drop_u(bevel.stations);
  double lower_u = 0, upper_u = 0, lower_shared = 0, upper_shared = 0, count = 0;
  for (const auto& station : bevel.stations) {
    if (station.station_mm < stretch->from_mm || station.station_mm > stretch->to_mm ||
        !station.drop_mm.is_measured() || !station.top_reach_mm.is_measured() || station.drop_mm.combined_u() > most_u)
      continue;
    const auto c = static_cast<std::size_t>(std::lround((station.station_mm - grid.first_station_mm) / step));
    lower[c] = station.drop_mm.value;
    // The upper edge's own place: the rim corner may leave the curve where the side is unfair.
    const auto section = section_at(rim, fitted, c);
    const double corner_out = section ? section->corner_mm.x() : 0.0;
    upper[c] = station.top_reach_mm.value - corner_out - curve[c];
    const auto white_u = [](const Measured& m) {
      return std::hypot(m.u(UncertaintySource::point_noise), m.u(UncertaintySource::reference_faces));
    };
    lower_u += white_u(station.drop_mm);
    upper_u += white_u(station.top_reach_mm);
    lower_shared += station.drop_mm.u(UncertaintySource::correlated);
    upper_shared += station.top_reach_mm.u(UncertaintySource::correlated);
    count += 1;
  }
  const auto edge = [&](const std::vector<double>& p, double white_u, double shared_u) {
    return height_in_band(wavelength_band(p, step, expected.shortest_edge_wave_mm, expected.longest_edge_wave_mm), step,
                          expected.shortest_edge_wave_mm, white_u / count, shared_u / count);
  };
  bevel.lower_edge_fairness_mm = edge(lower, lower_u, lower_shared);
  bevel.upper_edge_fairness_mm = edge(upper, upper_u, upper_shared);
}

}  // namespace rimwright
