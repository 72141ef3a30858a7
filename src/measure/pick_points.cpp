#include "measure/pick_points.h"

#include <algorithm>
#include <cmath>
#include <limits>

#include "measure/profile_frame.h"
#include "measure/section_geometry.h"

namespace rimwright {

namespace {

// A fitted face at one station, and how far beyond its ends and off it a point still counts as its own.
struct FaceHere {
  const FaceFits* face = nullptr;
  const FaceFit* fit = nullptr;
  const SectionTop* top = nullptr;  // of the top only
  double station_mm = 0.0, beyond_mm = 0.0, gate_mm = 0.0;
  UnrolledRim::Range range;  // of a slice: no other points of it lie on the face

  [[nodiscard]] double first_t_mm() const { return std::min(fit->from_t_mm, fit->to_t_mm) - beyond_mm; }
  [[nodiscard]] double last_t_mm() const { return std::max(fit->from_t_mm, fit->to_t_mm) + beyond_mm; }

  void look_in(const UnrolledRim& rim, std::size_t slice) {
    range = {};
    if (!fit->measured) return;
    const double first = first_t_mm(), last = last_t_mm();
    const auto along_at = [&](double t) {
      const Vector2 p = t * face->along + (fit->a_mm + fit->b * (t - fit->t0_mm)) * face->normal;
      return profile_along(p.x(), p.y());
    };
    // A domed top leaves its line by its rise and sagitta.
    const double dome = top != nullptr ? 0.12 * std::max(std::abs(first), std::abs(last)) : 0.0;
    const double begins_mm = static_cast<double>(slice) * rim.slice_mm;
    const double way_mm = std::max(std::abs(begins_mm - station_mm), std::abs(begins_mm + rim.slice_mm - station_mm));
    const double spare = 2.0 * gate_mm + dome + std::abs(fit->shift_along) * way_mm;
    const auto [low, high] = std::minmax({along_at(first), along_at(last)});
    range = rim.points_between(slice, low - spare, high + spare);
  }

  [[nodiscard]] bool holds(double station, double out, double up) const {
    const double t = out * face->along.x() + up * face->along.y();
    if (t < first_t_mm() || t > last_t_mm()) return false;
    const double y = out * face->normal.x() + up * face->normal.y();
    const double fitted_y = top != nullptr ? top->up(out) : fit->a_mm + fit->b * (t - fit->t0_mm);
    return std::abs(y - fitted_y - fit->shift_along * (station - station_mm)) < gate_mm;
  }
};

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

// The number of the first of every `stride`-th point that is not before the k-th.
std::size_t nth_from(std::size_t k, std::size_t stride) { return (k + stride - 1) / stride; }

std::size_t station_of(const FittedRim& fitted, const UnrolledRim& rim, std::size_t slice) {
  const auto slices_a_station = static_cast<std::size_t>(std::max(1L, std::lround(step_of(fitted) / rim.slice_mm)));
  return std::min(fitted.station_mm.size() - 1, slice / slices_a_station);
}

constexpr std::size_t slices_at_once = 8;

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
  constexpr std::size_t most_elsewhere = 200'000;
  const std::size_t elsewhere = stride_for((total + stride - 1) / stride, most_elsewhere);
  const FaceFits* bevel = fitted.find(FaceName::bevel);
  const double step = step_of(fitted);
  const BackToScan back(rim, terms.origin_scan_mm);
  constexpr double edge_mm = 0.8, gate_mm = 1.0;  // up to the edges, and with the face's form
  const std::size_t slices = rim.slice_count();
  std::vector<std::vector<HeatPoint>> parts((slices + slices_at_once - 1) / slices_at_once);
  workers.for_chunks(slices, slices_at_once, [&](std::size_t begin, std::size_t end, std::size_t part) {
    for (std::size_t slice = begin; slice < end; ++slice) {
      const std::size_t i = station_of(fitted, rim, slice);
      const std::size_t first = nth_from(rim.slice_begin[slice], stride);
      const std::size_t last = nth_from(rim.slice_begin[slice + 1], stride);
      FaceHere here;
      if (bevel != nullptr) {
        here = {bevel, &bevel->at[i], nullptr, fitted.station_mm[i], edge_mm, gate_mm, {}};
        here.look_in(rim, slice);
      }
      const auto take = [&](std::size_t n) {
        const std::size_t k = n * stride;
        const double s = rim.station_mm[k], out = rim.out_mm[k], up = rim.up_mm[k];
        const bool is_on = k >= here.range.begin && k < here.range.end && here.holds(s, out, up);
        if (!is_on && n % elsewhere != 0) return;
        const float deviation =
            is_on ? deviation_of(fitted, targets, i, step, s, {out, up}) : std::numeric_limits<float>::quiet_NaN();
        parts[part].push_back({back.point_mm(s, out, up), deviation, rim.station_mm[k]});
      };
      // Points that cannot lie on the bevel are not looked at unless they are of the share that is shown.
      const auto take_share = [&](std::size_t from, std::size_t to) {
        for (std::size_t n = nth_from(from, elsewhere) * elsewhere; n < to; n += elsewhere) take(n);
      };
      const std::size_t first_on = std::clamp(nth_from(here.range.begin, stride), first, last);
      const std::size_t last_on = std::clamp(nth_from(here.range.end, stride), first_on, last);
      take_share(first, first_on);
      for (std::size_t n = first_on; n < last_on; ++n) take(n);
      take_share(last_on, last);
    }
  });
  return joined(parts);
}

std::vector<FacePoint> face_points(const UnrolledRim& rim, const FittedRim& fitted,
                                   const std::vector<TargetFace>& targets, const CaptureTerms& terms,
                                   const NoiseModel& noise, std::size_t most, Workers& workers) {
  const std::size_t stride = stride_for(rim.station_mm.size(), most);
  const double step = step_of(fitted);
  const double gate_mm = 5.0 * noise.white_sigma_mm + 0.1;
  const double bevel_gate_mm = std::max(gate_mm, 1.0);  // with the humps and hollows a later pass takes off
  const BackToScan back(rim, terms.origin_scan_mm);
  const std::size_t slices = rim.slice_count();
  std::vector<std::vector<FacePoint>> parts((slices + slices_at_once - 1) / slices_at_once);
  workers.for_chunks(slices, slices_at_once, [&](std::size_t begin, std::size_t end, std::size_t part) {
    std::vector<FaceHere> faces(fitted.faces.size());
    for (std::size_t slice = begin; slice < end; ++slice) {
      const std::size_t i = station_of(fitted, rim, slice);
      const SectionTop top = top_of(rim, fitted.station_mm[i], &fitted.find(FaceName::top)->at[i]);
      for (std::size_t f = 0; f < faces.size(); ++f) {
        const FaceFits& face = fitted.faces[f];
        const double gate = face.track->name == FaceName::bevel ? bevel_gate_mm : gate_mm;
        faces[f] = {&face, &face.at[i], face.track->name == FaceName::top ? &top : nullptr, fitted.station_mm[i], 0.0,
                    gate,  {}};
        faces[f].look_in(rim, slice);
      }
      for (std::size_t k = nth_from(rim.slice_begin[slice], stride) * stride; k < rim.slice_begin[slice + 1];
           k += stride) {
        const double s = rim.station_mm[k], out = rim.out_mm[k], up = rim.up_mm[k];
        const auto here = std::find_if(faces.begin(), faces.end(), [&](const FaceHere& face) {
          return k >= face.range.begin && k < face.range.end && face.holds(s, out, up);
        });
        if (here == faces.end()) continue;
        const FaceName name = here->face->track->name;
        FacePoint point;
        point.at_scan_mm = back.point_mm(s, out, up);
        point.kind = kind_of(name);
        point.station_mm = rim.station_mm[k];
        point.deviation_mm = name == FaceName::bevel ? deviation_of(fitted, targets, i, step, s, {out, up})
                                                     : std::numeric_limits<float>::quiet_NaN();
        point.sigma_mm = static_cast<float>(rim.sigma_mm.empty() ? here->fit->noise_mm : rim.sigma_mm[k]);
        parts[part].push_back(point);
      }
    }
  });
  return joined(parts);
}

}  // namespace rimwright
