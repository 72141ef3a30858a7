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

namespace {

// Where a point lies on a fitted face, if it does.
struct OnFace {
  bool on = false;
  double t = 0.0, y = 0.0;
};

OnFace on_face(const FaceFits& face, const FaceFit& fit, const SectionTop* top, double out, double up, double ds,
               double beyond_mm, double gate_mm) {
  if (!fit.measured) return {};
  OnFace place{false, out * face.along.x() + up * face.along.y(), out * face.normal.x() + up * face.normal.y()};
  if (place.t < std::min(fit.from_t_mm, fit.to_t_mm) - beyond_mm ||
      place.t > std::max(fit.from_t_mm, fit.to_t_mm) + beyond_mm)
    return place;
  const double fitted_y = top != nullptr ? top->up(out) : fit.a_mm + fit.b * (place.t - fit.t0_mm);
  place.on = std::abs(place.y - fitted_y - fit.shift_along * ds) < gate_mm;
  return place;
}

// Deviation of a point of the bevel; between stations the target moves with the faired edge.
float deviation_of(const FittedRim& fitted, const std::vector<TargetFace>& targets, std::size_t i, double step,
                   double s, const Vector2& p) {
  if (i >= targets.size() || !targets[i].known) return std::numeric_limits<float>::quiet_NaN();
  const std::size_t j = s > fitted.station_mm[i] ? std::min(i + 1, targets.size() - 1) : (i > 0 ? i - 1 : 0);
  const double share = targets[j].known ? std::abs(s - fitted.station_mm[i]) / step : 0.0;
  const Vector2 edge = (1 - share) * targets[i].edge_mm + share * targets[j].edge_mm;
  return static_cast<float>((p - edge).dot(targets[i].normal));
}

double step_of(const FittedRim& fitted) {
  return fitted.station_mm.size() > 1 ? fitted.station_mm[1] - fitted.station_mm[0] : 1.0;
}

std::size_t stride_for(std::size_t total, std::size_t most) {
  return std::max<std::size_t>(1, (total + most - 1) / std::max<std::size_t>(1, most));
}

constexpr std::size_t points_at_once = 1 << 14;

template <class Point>
std::vector<Point> joined(const std::vector<std::vector<Point>>& parts) {
  std::size_t count = 0;
  for (const auto& part : parts) count += part.size();
  std::vector<Point> points;
  points.reserve(count);
  for (const auto& part : parts) points.insert(points.end(), part.begin(), part.end());
  return points;
}

// The way of many points back to the scan: UnrolledRim::scan_point_mm with all that is alike for them done once.
class BackToScan {
 public:
  BackToScan(const UnrolledRim& rim, const Vector3& origin_scan_mm)
      : rim_(rim), T_scan_body_(rim.T_body_scan.inverse()), origin_scan_mm_(origin_scan_mm) {}

  [[nodiscard]] Eigen::Vector3f point_mm(double station, double out, double up) const {
    const RimCurve::Place here = rim_.curve.place(station);
    const Vector2 plan = here.point + out * here.out;
    const double top_mm = rim_.top.height_mm(here.point.x(), here.point.y());
    return (origin_scan_mm_ + T_scan_body_ * Vector3(plan.x(), plan.y(), up + top_mm)).cast<float>();
  }

 private:
  const UnrolledRim& rim_;
  Transform T_scan_body_;
  Vector3 origin_scan_mm_;
};

}  // namespace

std::vector<HeatPoint> heat_points(const UnrolledRim& rim, const FittedRim& fitted,
                                   const std::vector<TargetFace>& targets, const CaptureTerms& terms, std::size_t most,
                                   Workers& workers) {
  const std::size_t total = rim.station_mm.size(), stride = stride_for(total, most);
  const std::size_t count = (total + stride - 1) / stride;
  constexpr std::size_t most_elsewhere = 200'000;
  const std::size_t elsewhere = stride_for(count, most_elsewhere);
  const FaceFits* face = fitted.find(FaceName::bevel);
  const double step = step_of(fitted);
  const BackToScan back(rim, terms.origin_scan_mm);
  constexpr double edge_mm = 0.8, gate_mm = 1.0;  // up to the edges, and with the face's form
  std::vector<std::vector<HeatPoint>> parts((count + points_at_once - 1) / points_at_once);
  workers.for_chunks(count, points_at_once, [&](std::size_t begin, std::size_t end, std::size_t part) {
    for (std::size_t n = begin; n < end; ++n) {
      const std::size_t k = n * stride;
      const double s = rim.station_mm[k], out = rim.out_mm[k], up = rim.up_mm[k];
      const auto i = std::min(fitted.station_mm.size() - 1, static_cast<std::size_t>(s / step));
      const bool is_on = face != nullptr &&
                         on_face(*face, face->at[i], nullptr, out, up, s - fitted.station_mm[i], edge_mm, gate_mm).on;
      if (!is_on && n % elsewhere != 0) continue;
      const float deviation =
          is_on ? deviation_of(fitted, targets, i, step, s, {out, up}) : std::numeric_limits<float>::quiet_NaN();
      parts[part].push_back({back.point_mm(s, out, up), deviation, rim.station_mm[k]});
    }
  });
  return joined(parts);
}

std::vector<FacePoint> face_points(const UnrolledRim& rim, const FittedRim& fitted,
                                   const std::vector<TargetFace>& targets, const CaptureTerms& terms,
                                   const NoiseModel& noise, std::size_t most, Workers& workers) {
  const std::size_t total = rim.station_mm.size(), stride = stride_for(total, most);
  const std::size_t count = (total + stride - 1) / stride;
  const double step = step_of(fitted);
  const double gate_mm = 5.0 * noise.white_sigma_mm + 0.1;
  const double bevel_gate_mm = std::max(gate_mm, 1.0);  // with the humps and hollows a later pass takes off
  const BackToScan back(rim, terms.origin_scan_mm);
  std::vector<std::vector<FacePoint>> parts((count + points_at_once - 1) / points_at_once);
  workers.for_chunks(count, points_at_once, [&](std::size_t begin, std::size_t end, std::size_t part) {
    std::size_t station = fitted.station_mm.size();
    SectionTop top;
    for (std::size_t n = begin; n < end; ++n) {
      const std::size_t k = n * stride;
      const double s = rim.station_mm[k], out = rim.out_mm[k], up = rim.up_mm[k];
      const auto i = std::min(fitted.station_mm.size() - 1, static_cast<std::size_t>(s / step));
      if (i != station) {
        station = i;
        top = top_of(rim, fitted.station_mm[i], &fitted.find(FaceName::top)->at[i]);
      }
      for (const FaceFits& face : fitted.faces) {
        const SectionTop* curved = face.track->name == FaceName::top ? &top : nullptr;
        const double gate = face.track->name == FaceName::bevel ? bevel_gate_mm : gate_mm;
        if (!on_face(face, face.at[i], curved, out, up, s - fitted.station_mm[i], 0.0, gate).on) continue;
        FacePoint point;
        point.at_scan_mm = back.point_mm(s, out, up);
        point.kind = kind_of(face.track->name);
        point.station_mm = rim.station_mm[k];
        point.deviation_mm = face.track->name == FaceName::bevel ? deviation_of(fitted, targets, i, step, s, {out, up})
                                                                 : std::numeric_limits<float>::quiet_NaN();
        point.sigma_mm = static_cast<float>(rim.sigma_mm.empty() ? face.at[i].noise_mm : rim.sigma_mm[k]);
        parts[part].push_back(point);
        break;
      }
    }
  });
  return joined(parts);
}

}  // namespace rimwright
