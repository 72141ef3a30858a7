#include "capture/depth/fuse_frames.h"

#include <Eigen/LU>
#include <algorithm>
#include <cmath>
#include <unordered_map>
#include <unordered_set>

#include "capture/depth/patch_map.h"

namespace rimwright {

namespace {

struct FusedPoint {
  Eigen::Vector3f point;  // scan frame
  float sigma_mm = 0.0F;  // along the normal
  bool near_rim = false;
};

// One pixel with its neighbourhood: is it part of a face, and how steeply is that face seen?
struct PixelView {
  bool on_face = false;
  double z_mm = 0.0;
  double incidence_rad = 0.0;
};

PixelView look_at_pixel(const DepthFrame& frame, const PinholeIntrinsics& intrinsics, double mm_per_count,
                        const DepthNoise& noise, const FuseSettings& settings, int column, int row) {
  PixelView view;
  const auto width = static_cast<std::size_t>(intrinsics.width_px);
  const auto at = [&](int c, int r) {
    return frame.counts[static_cast<std::size_t>(r) * width + static_cast<std::size_t>(c)];
  };
  view.z_mm = at(column, row) * mm_per_count;
  // What noise (three standard deviations of a difference) and slope may put between neighbours.
  const double slope_mm = view.z_mm / intrinsics.fx_px * std::tan(radians_from_degrees(settings.steepest_deg));
  const double noise_mm = 3.0 * std::sqrt(2.0) * noise.sigma_z_mm(view.z_mm, 0.0) + mm_per_count;
  constexpr int half = 2;
  int alike = 0;
  Matrix3 matrix = Matrix3::Zero();
  Vector3 right = Vector3::Zero();
  for (int dv = -half; dv <= half; ++dv) {
    for (int du = -half; du <= half; ++du) {
      const std::uint16_t count = at(column + du, row + dv);
      if (count == 0) continue;
      const double z = count * mm_per_count;
      const int steps = std::max(std::abs(du), std::abs(dv));
      if (std::abs(z - view.z_mm) > noise_mm + slope_mm * steps) continue;
      if (steps == 1) ++alike;
      const Vector3 design(du, dv, 1.0);
      matrix += design * design.transpose();
      right += design / z;
    }
  }
  if (alike < settings.neighbours_needed) return view;
  const Vector3 plane = matrix.inverse() * right;
  const Vector3 ray = intrinsics.ray(column, row);
  const Vector3 normal(plane.x() * intrinsics.fx_px, plane.y() * intrinsics.fy_px,
                       plane.z() - plane.x() * intrinsics.fx_px * ray.x() - plane.y() * intrinsics.fy_px * ray.y());
  const double cosine = normal.dot(ray) / (normal.norm() * ray.norm());
  if (!(cosine > std::cos(radians_from_degrees(settings.steepest_deg)))) return view;
  view.incidence_rad = std::acos(std::min(1.0, cosine));
  view.on_face = true;
  return view;
}

std::vector<FusedPoint> points_of(const DepthCapture& capture, const DepthFrame& frame, const Transform& T_scan_camera,
                                  const DepthNoise& noise, const DepthRimZone& zone, const FuseSettings& settings) {
  std::vector<FusedPoint> points;
  const PinholeIntrinsics& intrinsics = capture.intrinsics;
  constexpr int half = 2;
  for (int row = half; row < intrinsics.height_px - half; ++row) {
    for (int column = half; column < intrinsics.width_px - half; ++column) {
      const std::uint16_t count =
          frame.counts[static_cast<std::size_t>(row) * static_cast<std::size_t>(intrinsics.width_px) +
                       static_cast<std::size_t>(column)];
      if (count == 0) continue;
      const Vector3 point = T_scan_camera * (count * capture.mm_per_count * intrinsics.ray(column, row));
      const bool near_rim = zone.near_rim(point);
      // Away from the rim a few pixels are plenty.
      if (!near_rim && (row % 4 != 0 || column % 4 != 0)) continue;
      const PixelView view = look_at_pixel(frame, intrinsics, capture.mm_per_count, noise, settings, column, row);
      if (!view.on_face) continue;
      const double sigma = noise.sigma_z_mm(view.z_mm, view.incidence_rad) * std::cos(view.incidence_rad);
      points.push_back({point.cast<float>(), static_cast<float>(sigma), near_rim});
    }
  }
  return points;
}

// An even share of all points, the same on every run: a hash of frame and place in the frame decides.
bool drawn(std::size_t frame, std::size_t index, double share) {
  std::uint64_t hash = (static_cast<std::uint64_t>(frame) << 32) ^ static_cast<std::uint64_t>(index);
  hash = (hash ^ (hash >> 30)) * 0xbf58476d1ce4e5b9U;
  hash = (hash ^ (hash >> 27)) * 0x94d049bb133111ebU;
  hash ^= hash >> 31;
  return static_cast<double>(hash >> 11) * 0x1.0p-53 < share;
}

// Points in places thinner than a share of the median density: flying pixels that had company.
class DensityFilter {
 public:
  DensityFilter(const std::vector<std::vector<FusedPoint>>& frames, double cell_mm, double least_share)
      : cell_mm_(cell_mm) {
    std::unordered_map<std::uint64_t, std::uint32_t> counts;
    std::size_t total = 0;
    for (const auto& frame : frames) total += frame.size();
    counts.reserve(total / 50);
    for (const auto& frame : frames) {
      for (const FusedPoint& point : frame) {
        if (point.near_rim) ++counts[cell_key(point.point.cast<double>(), cell_mm)];
      }
    }
    // The median over points, not over cells: most points lie on faces, most cells need not.
    std::vector<std::uint32_t> sizes;
    sizes.reserve(counts.size());
    std::uint64_t points = 0;
    for (const auto& [key, count] : counts) {
      sizes.push_back(count);
      points += count;
    }
    std::sort(sizes.begin(), sizes.end());
    std::uint64_t below = 0;
    double median = 0.0;
    for (const std::uint32_t size : sizes) {
      below += size;
      median = size;
      if (2 * below >= points) break;
    }
    for (const auto& [key, count] : counts) {
      if (count < least_share * median) thin_.insert(key);
    }
  }
  [[nodiscard]] bool is_thin(const Eigen::Vector3f& point) const {
    return thin_.count(cell_key(point.cast<double>(), cell_mm_)) > 0;
  }

 private:
  double cell_mm_;
  std::unordered_set<std::uint64_t> thin_;
};

}  // namespace

Outcome<Cloud> fuse_frames(const DepthCapture& capture, const Alignment& alignment, const DepthNoise& noise,
                           const DepthRimZone& zone, const FuseSettings& asked, Workers& workers) {
  FuseSettings settings = asked;
  settings.neighbours_needed = static_cast<int>(std::lround(settings.neighbours_needed * seen_share_on_faces(capture)));
  std::vector<std::vector<FusedPoint>> frames(capture.frames.size());
  workers.for_chunks(capture.frames.size(), 1, [&](std::size_t begin, std::size_t end, std::size_t) {
    for (std::size_t f = begin; f < end; ++f) {
      if (!alignment.frames[f].aligned) continue;
      frames[f] = points_of(capture, capture.frames[f], alignment.frames[f].T_scan_camera, noise, zone, settings);
    }
  });
  Cloud cloud;
  std::size_t near_count = 0;
  for (const auto& frame : frames) {
    cloud.counts.points_in_file += frame.size();
    near_count += static_cast<std::size_t>(
        std::count_if(frame.begin(), frame.end(), [](const FusedPoint& point) { return point.near_rim; }));
  }
  constexpr std::size_t fewest_points = 1000;
  if (near_count < fewest_points) {
    return refuse(RefusalReason::too_few_points,
                  "the depth capture holds only " + std::to_string(near_count) + " points near the rim",
                  "hold the camera about 300 mm from the rim and record more images");
  }
  // Cells wide enough that noise does not empty them.
  const double cell_mm = std::max(1.0, 2.0 * noise.sigma_mm);
  const DensityFilter density(frames, cell_mm, settings.least_density_share);
  const double share = std::min(1.0, static_cast<double>(settings.most_points) / static_cast<double>(near_count));

  // A local origin keeps floats small.
  for (const auto& frame : frames) {
    if (frame.empty()) continue;
    cloud.origin_mm = frame.front().point.cast<double>().array().round().matrix();
    break;
  }
  std::unordered_set<std::uint64_t> far_cells;
  const std::size_t room = std::min(settings.most_points, near_count) + 100'000;
  for (auto* array : {&cloud.x, &cloud.y, &cloud.z, &cloud.sigma_mm}) array->reserve(room);
  for (std::size_t f = 0; f < frames.size(); ++f) {
    for (std::size_t i = 0; i < frames[f].size(); ++i) {
      const FusedPoint& point = frames[f][i];
      if (point.near_rim) {
        if (!drawn(f, i, share)) continue;
        if (density.is_thin(point.point)) {
          ++cloud.counts.far_outliers;
          continue;
        }
      } else if (!far_cells.insert(cell_key(point.point.cast<double>(), settings.far_spacing_mm)).second) {
        continue;
      }
      const Vector3 offset = point.point.cast<double>() - cloud.origin_mm;
      cloud.x.push_back(static_cast<float>(offset.x()));
      cloud.y.push_back(static_cast<float>(offset.y()));
      cloud.z.push_back(static_cast<float>(offset.z()));
      cloud.sigma_mm.push_back(point.sigma_mm);
    }
  }
  const double camera_error_mm = std::hypot(noise.sigma_mm, settings.warp_to_noise * alignment.bias_mm);
  cloud.scale.relative_standard_u =
      std::max(settings.least_scale_u, settings.scale_u_per_error * camera_error_mm / noise.range_mm);
  cloud.scale.source = "the depth camera's own calibration, unchecked";
  cloud.capture_error.correlated_sigma_mm = alignment.bias_mm;
  cloud.capture_error.correlation_length_mm = settings.bias_length_mm;
  return cloud;
}

}  // namespace rimwright
