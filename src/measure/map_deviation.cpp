#include "measure/map_deviation.h"

#include <algorithm>
#include <cmath>
#include <limits>
#include <numbers>

#include "measure/gaussian_filter.h"

namespace rimwright {

std::vector<TargetFace> target_faces(const UnrolledRim& rim, const FittedRim& fitted, const BevelMeasures& bevel,
                                     const ExpectedBevel& expected) {
  constexpr double nan = std::numeric_limits<double>::quiet_NaN();
  const std::size_t count = fitted.station_mm.size();
  const double step = count > 1 ? fitted.station_mm[1] - fitted.station_mm[0] : 1.0;
  std::vector<double> out(count, nan), up(count, nan), lean(count, nan), edge_u(count, nan);
  std::vector<char> seen(count, 0);
  const FaceFits& side = *fitted.find(FaceName::side);
  const double most_u = trusted_u(bevel.stations, &BevelStation::drop_mm);
  std::size_t next = 0;
  for (std::size_t i = 0; i < count; ++i) {
    while (next < bevel.stations.size() && bevel.stations[next].station_mm < fitted.station_mm[i] - 0.25 * step) ++next;
    if (next == bevel.stations.size() || bevel.stations[next].station_mm > fitted.station_mm[i] + 0.25 * step) continue;
    seen[i] = 1;
    if (!bevel.stations[next].drop_mm.is_measured() || bevel.stations[next].drop_mm.combined_u() > most_u) continue;
    const auto section = section_at(rim, fitted, i);
    if (!section) continue;
    const auto edge = lower_edge(section->faces);
    if (!edge) continue;
    out[i] = edge->x();
    up[i] = edge->y();
    lean[i] = line_of(side, side.at[i]).angle_rad();
    edge_u[i] = bevel.stations[next].drop_mm.combined_u();
  }

  // Faired: in the full stretch waves up to the longest of the band are taken out; in the run-outs, which bend by
  // design, only what is shorter than the band.
  const auto stretch = full_stretch(bevel.stations);
  const auto fair = [&](const std::vector<double>& profile) {
    const std::vector<double> fine = gaussian_mean_line(profile, step, 2.0 * expected.shortest_wave_mm, 2);
    if (!stretch) return fine;
    std::vector<double> full = profile;
    for (std::size_t i = 0; i < count; ++i)
      if (fitted.station_mm[i] < stretch->from_mm || fitted.station_mm[i] > stretch->to_mm) full[i] = nan;
    const std::vector<double> coarse = gaussian_mean_line(full, step, expected.longest_wave_mm, 2);
    std::vector<double> result(count, nan);
    for (std::size_t i = 0; i < count; ++i) {
      const double inside = std::min(fitted.station_mm[i] - stretch->from_mm, stretch->to_mm - fitted.station_mm[i]);
      const double share = std::clamp(inside / expected.shortest_wave_mm, 0.0, 1.0);
      if (!std::isfinite(coarse[i]) || share <= 0.0)
        result[i] = fine[i];
      else
        result[i] = std::isfinite(fine[i]) ? share * coarse[i] + (1 - share) * fine[i] : coarse[i];
    }
    return result;
  };
  const std::vector<double> fair_out = fair(out), fair_up = fair(up),
                            fair_lean = gaussian_mean_line(lean, step, expected.longest_wave_mm, 0);

  std::vector<TargetFace> targets(count);
  for (std::size_t i = 0; i < count; ++i) {
    if (!seen[i] || !std::isfinite(fair_out[i]) || !std::isfinite(fair_lean[i])) continue;
    const double angle = fair_lean[i] + std::numbers::pi - expected.angle_rad;
    TargetFace& target = targets[i];
    target.known = true;
    target.edge_mm = {fair_out[i], fair_up[i]};
    target.along = {-std::sin(angle), std::cos(angle)};
    target.normal = {std::cos(angle), std::sin(angle)};
    target.edge_u_mm = (std::isfinite(edge_u[i]) ? edge_u[i] : most_u) * std::sin(angle);
  }
  return targets;
}

UnrolledMap map_deviation(const FittedRim& fitted, const FaceGrid& grid, const std::vector<TargetFace>& targets,
                          const NoiseModel& noise) {
  const FaceFits& face = *fitted.find(FaceName::bevel);
  UnrolledMap map;
  map.first_station_mm = grid.first_station_mm;
  map.station_step_mm = grid.station_step_mm;
  map.across_step_mm = grid.t_step_mm;
  map.columns = grid.columns;
  const auto across_of = [&](std::size_t row, std::size_t column) {
    return (grid.t(row) * face.along + static_cast<double>(grid.mean_mm[grid.index(row, column)]) * face.normal -
            targets[column].edge_mm)
        .dot(targets[column].along);
  };
  double low = 1e9, high = -1e9;
  for (std::size_t c = 0; c < grid.columns; ++c)
    for (std::size_t r = 0; targets[c].known && r < grid.rows; ++r)
      if (grid.count[grid.index(r, c)] > 0) {
        low = std::min(low, across_of(r, c));
        high = std::max(high, across_of(r, c));
      }
  if (high < low) return UnrolledMap{};
  map.first_across_mm = std::floor(low / map.across_step_mm) * map.across_step_mm;
  map.rows = static_cast<std::size_t>((high - map.first_across_mm) / map.across_step_mm) + 1;
  const std::size_t cells = map.rows * map.columns;
  std::vector<double> sum(cells, 0.0), weight(cells, 0.0);
  for (std::size_t c = 0; c < grid.columns; ++c)
    for (std::size_t r = 0; targets[c].known && r < grid.rows; ++r) {
      const std::size_t from = grid.index(r, c);
      if (grid.count[from] <= 0) continue;
      const Vector2 p = grid.t(r) * face.along + static_cast<double>(grid.mean_mm[from]) * face.normal;
      const auto row = static_cast<std::size_t>((across_of(r, c) - map.first_across_mm) / map.across_step_mm);
      const std::size_t to = std::min(row, map.rows - 1) * map.columns + c;
      sum[to] += static_cast<double>(grid.count[from]) * (p - targets[c].edge_mm).dot(targets[c].normal);
      weight[to] += static_cast<double>(grid.count[from]);
    }
  map.deviation_mm.resize(cells, std::numeric_limits<float>::quiet_NaN());
  map.deviation_u_mm.resize(cells, std::numeric_limits<float>::quiet_NaN());
  for (std::size_t i = 0; i < cells; ++i) {
    if (weight[i] <= 0) continue;
    map.deviation_mm[i] = static_cast<float>(sum[i] / weight[i]);
    const double edge = targets[i % map.columns].edge_u_mm;
    map.deviation_u_mm[i] =
        static_cast<float>(std::sqrt(noise.white_sigma_mm * noise.white_sigma_mm / weight[i] +
                                     noise.correlated_sigma_mm * noise.correlated_sigma_mm + edge * edge));
  }
  return map;
}

}  // namespace rimwright
