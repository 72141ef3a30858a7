#include "capture/depth/depth_patches.h"

#include <Eigen/Cholesky>
#include <algorithm>
#include <cmath>

#include "core/median.h"

namespace rimwright {

namespace {

using Vector6 = Eigen::Matrix<double, 6, 1>;
using Matrix6 = Eigen::Matrix<double, 6, 6>;

// Least squares of inverse depth over the window, twice: a plane for normal and scatter, and a paraboloid for the depth
// in the middle. A plane's middle lies off a curved side by its sagitta, and differently from every direction: with the
// paraboloid that error is gone. Nothing when too few pixels are seen.
bool fit_window(const DepthFrame& frame, const PinholeIntrinsics& intrinsics, double mm_per_count, int column, int row,
                const PatchSettings& settings, DepthPatch& patch) {
  const int half = settings.half_window_px;
  const int side = 2 * half + 1;
  Matrix6 normal_matrix = Matrix6::Zero();
  Vector6 right_side = Vector6::Zero();
  double square_sum = 0.0;
  std::size_t seen = 0;
  const double unit = 1.0 / half;  // keeps the matrix well scaled
  for (int dv = -half; dv <= half; ++dv) {
    const std::uint16_t* counts = frame.counts.data() +
                                  static_cast<std::size_t>(row + dv) * static_cast<std::size_t>(intrinsics.width_px) +
                                  static_cast<std::size_t>(column - half);
    for (int i = 0; i < side; ++i) {
      if (counts[i] == 0) continue;
      const double inverse = 1.0 / (counts[i] * mm_per_count);
      const double u = (i - half) * unit, v = dv * unit;
      Vector6 design;
      design << u, v, 1.0, u * u, u * v, v * v;
      normal_matrix.selfadjointView<Eigen::Lower>().rankUpdate(design);
      right_side += design * inverse;
      square_sum += inverse * inverse;
      ++seen;
    }
  }
  if (static_cast<double>(seen) < settings.seen_share * side * side) return false;
  const Matrix3 plane_matrix = normal_matrix.topLeftCorner<3, 3>().selfadjointView<Eigen::Lower>();
  const Vector3 plane_fit = plane_matrix.ldlt().solve(right_side.head<3>());
  const Vector3 plane(plane_fit.x() * unit, plane_fit.y() * unit, plane_fit.z());  // a, b, c
  const Eigen::LDLT<Matrix6> paraboloid(normal_matrix);                            // reads the lower triangle only
  const double middle = paraboloid.solve(right_side)[2];
  if (!(middle > 1.0 / settings.longest_range_mm) || !(plane.z() > 0.0)) return false;
  const Vector3 ray = intrinsics.ray(column, row);
  const Vector3 normal(plane.x() * intrinsics.fx_px, plane.y() * intrinsics.fy_px,
                       plane.z() - plane.x() * intrinsics.fx_px * ray.x() - plane.y() * intrinsics.fy_px * ray.y());
  patch.point_mm = ray / middle;
  patch.normal = -normal.normalized();
  patch.incidence_rad = std::acos(std::clamp(-patch.normal.dot(ray.normalized()), -1.0, 1.0));
  if (patch.incidence_rad > radians_from_degrees(settings.steepest_deg)) return false;
  const double residual_square = std::max(0.0, square_sum - plane_fit.dot(right_side.head<3>()));
  // Inverse depth errs by sigma_z / z^2.
  patch.sigma_z_mm = std::sqrt(residual_square / static_cast<double>(seen - 3)) / (plane.z() * plane.z());
  patch.worst_z_mm = 0.0;
  for (int dv = -half; dv <= half; ++dv) {
    const std::uint16_t* counts = frame.counts.data() +
                                  static_cast<std::size_t>(row + dv) * static_cast<std::size_t>(intrinsics.width_px) +
                                  static_cast<std::size_t>(column - half);
    for (int i = 0; i < side; ++i) {
      if (counts[i] == 0) continue;
      const double on_plane_mm = 1.0 / (plane.x() * (i - half) + plane.y() * dv + plane.z());
      patch.worst_z_mm = std::max(patch.worst_z_mm, std::abs(counts[i] * mm_per_count - on_plane_mm));
    }
  }
  patch.pixels = seen;
  patch.point_variance = paraboloid.solve(Vector6::Unit(2))[2];
  return true;
}

}  // namespace

std::vector<DepthPatch> patches_of(const DepthFrame& frame, const PinholeIntrinsics& intrinsics, double mm_per_count,
                                   const PatchSettings& settings) {
  std::vector<DepthPatch> patches;
  const int half = settings.half_window_px;
  for (int row = half; row < intrinsics.height_px - half; row += settings.stride_px) {
    for (int column = half; column < intrinsics.width_px - half; column += settings.stride_px) {
      DepthPatch patch;
      if (fit_window(frame, intrinsics, mm_per_count, column, row, settings, patch)) patches.push_back(patch);
    }
  }
  return patches;
}

double seen_share_on_faces(const DepthCapture& capture) {
  constexpr std::size_t images = 5;
  constexpr int reach = 3, every = 3;  // pixels
  const int width = capture.intrinsics.width_px, height = capture.intrinsics.height_px;
  std::size_t on_faces = 0, seen = 0;
  for (std::size_t k = 0; k < images; ++k) {
    const DepthFrame& frame = capture.frames[k * (capture.frames.size() - 1) / (images - 1)];
    const auto is_seen = [&](int column, int row) {
      return frame.counts[static_cast<std::size_t>(row) * static_cast<std::size_t>(width) +
                          static_cast<std::size_t>(column)] != 0;
    };
    const auto any_towards = [&](int column, int row, int right, int down) {
      for (int step = 1; step <= reach; ++step)
        if (is_seen(column + step * right, row + step * down)) return true;
      return false;
    };
    for (int row = reach; row < height - reach; row += every) {
      for (int column = reach; column < width - reach; column += every) {
        if (!any_towards(column, row, 1, 0) || !any_towards(column, row, -1, 0) || !any_towards(column, row, 0, 1) ||
            !any_towards(column, row, 0, -1)) {
          continue;
        }
        ++on_faces;
        if (is_seen(column, row)) ++seen;
      }
    }
  }
  return on_faces > 0 ? static_cast<double>(seen) / static_cast<double>(on_faces) : 1.0;
}

PatchSettings settings_for(const DepthCapture& capture, const PatchSettings& asked) {
  PatchSettings settings = asked;
  settings.seen_share *= seen_share_on_faces(capture);
  if (settings.half_window_px <= 0) {
    PatchSettings trial = settings;
    trial.half_window_px = 3;
    trial.stride_px = 16;
    const DepthFrame& middle = capture.frames[capture.frames.size() / 2];
    std::vector<double> sigma, pixel;
    for (const DepthPatch& patch : patches_of(middle, capture.intrinsics, capture.mm_per_count, trial)) {
      sigma.push_back(patch.sigma_z_mm);
      pixel.push_back(patch.point_mm.z() / capture.intrinsics.fx_px);
    }
    settings.half_window_px = 3;
    if (!sigma.empty()) {
      // A window w wide with (w / pixel)^2 pixels tilts by sigma sqrt(12) pixel / w^2; 0.05 rad is asked.
      constexpr double wanted_tilt_rad = 0.05;
      const double pixel_mm = median_of(std::move(pixel));
      const double width_mm = std::sqrt(std::sqrt(12.0) * median_of(std::move(sigma)) * pixel_mm / wanted_tilt_rad);
      settings.half_window_px = std::clamp(static_cast<int>(std::lround(0.5 * width_mm / pixel_mm)), 3, 8);
    }
  }
  if (settings.stride_px <= 0) settings.stride_px = std::max(6, settings.half_window_px + 1);
  return settings;
}

std::vector<std::vector<DepthPatch>> patches_of_all(const DepthCapture& capture, const PatchSettings& settings,
                                                    Workers& workers) {
  std::vector<std::vector<DepthPatch>> patches(capture.frames.size());
  workers.for_chunks(capture.frames.size(), 1, [&](std::size_t begin, std::size_t end, std::size_t) {
    for (std::size_t i = begin; i < end; ++i) {
      patches[i] = patches_of(capture.frames[i], capture.intrinsics, capture.mm_per_count, settings);
    }
  });
  return patches;
}

}  // namespace rimwright
