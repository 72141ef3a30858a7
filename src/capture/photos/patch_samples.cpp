#include "capture/photos/patch_samples.h"

#include <algorithm>
#include <array>
#include <cmath>

namespace rimwright {
namespace {

// Pixel positions over a patch are smooth enough for a quadratic through 3 x 3 exact projections: the remainder over
// 25 pixels is below a thousandth of a pixel.
struct QuadraticMap {
  std::array<Vector2, 6> c;  // 1, s, t, s^2, s t, t^2 with s, t in [-1, 1]

  [[nodiscard]] Vector2 at(double s, double t) const {
    return c[0] + t * (c[2] + t * c[5]) + s * (c[1] + t * c[4] + s * c[3]);
  }
};
constexpr double most_curved_px = 3.0;  // a patch of 25 pixels beside a phone's lens: below 0.1

QuadraticMap fit_map(const std::array<Vector2, 9>& p) {  // p[3 * (t + 1) + (s + 1)]
  QuadraticMap map;
  map.c[0] = p[4];
  map.c[1] = 0.5 * (p[5] - p[3]);
  map.c[2] = 0.5 * (p[7] - p[1]);
  map.c[3] = 0.5 * (p[5] + p[3]) - p[4];
  map.c[4] = 0.25 * (p[8] - p[6] - p[2] + p[0]);
  map.c[5] = 0.5 * (p[7] + p[1]) - p[4];
  return map;
}

}  // namespace

PatchGrid grid_for(const View& nearest, const Patch& patch, const RefinePatchSettings& settings) {
  const double depth_mm = (nearest.T_camera_sheet * patch.at_sheet_mm).z();
  const double pixel_mm = depth_mm / nearest.lens.focal_px * settings.sample_spacing_px;
  PatchGrid grid;
  grid.along = std::clamp(static_cast<int>(std::lround(2.0 * settings.half_along_mm / pixel_mm)) + 1, 5, 41);
  grid.across = std::clamp(static_cast<int>(std::lround(2.0 * settings.half_across_mm / pixel_mm)) + 1, 5, 41);
  grid.step_along_mm = 2.0 * settings.half_along_mm / (grid.along - 1);
  grid.step_across_mm = 2.0 * settings.half_across_mm / (grid.across - 1);
  return grid;
}

bool sample_patch(const View& view, const SmoothPhoto& photo, const Patch& patch, const PatchGrid& grid,
                  bool with_slopes, PhotoSamples& samples) {
  const double half_along = 0.5 * (grid.along - 1) * grid.step_along_mm;
  const double half_across = 0.5 * (grid.across - 1) * grid.step_across_mm;
  const Matrix3& turn = view.T_camera_sheet.linear();
  const Vector3 middle = view.T_camera_sheet * patch.at_sheet_mm;
  const Vector3 along = turn * patch.along_sheet;
  const Vector3 normal = turn * patch.normal_sheet;
  const Vector3 across = normal.cross(along);
  const double bulge_mm = 0.5 * patch.bend_per_mm * half_along * half_along;
  std::array<Vector2, 9> at;
  std::size_t node = 0;
  for (int t = -1; t <= 1; ++t) {
    for (int s = -1; s <= 1; ++s) {
      const Vector3 p = middle + s * half_along * along + t * half_across * across - std::abs(s) * bulge_mm * normal;
      if (p.z() < 10.0) return false;
      const Vector2 pixel = project_camera_point(view.lens, p);
      if (!photo.holds(pixel.x(), pixel.y())) return false;
      at[node++] = pixel;
    }
  }
  const QuadraticMap map = fit_map(at);
  // Between its nodes a quadratic goes beyond them by a quarter of its curvature at most, and a photo holds a pixel
  // more than `holds` asks for.
  if ((map.c[3].cwiseAbs() + map.c[5].cwiseAbs()).maxCoeff() > most_curved_px) return false;
  for (const double t : {-1.0, 1.0}) {  // the fit passes through the corners only on the whole
    for (const double s : {-1.0, 1.0}) {
      const Vector2 corner = map.at(s, t);
      if (!photo.holds(corner.x(), corner.y())) return false;
    }
  }
  // How the picture moves when the patch moves by a millimetre along its normal.
  constexpr double nudge_mm = 0.05;
  const Vector2 per_mm = (project_camera_point(view.lens, middle + nudge_mm * normal) -
                          project_camera_point(view.lens, middle - nudge_mm * normal)) /
                         (2.0 * nudge_mm);
  const auto gx = static_cast<float>(per_mm.x()), gy = static_cast<float>(per_mm.y());
  const int count = grid.count();
  samples.value.resize(count);
  if (with_slopes) samples.slope.resize(count, 3);
  int i = 0;
  for (int row = 0; row < grid.across; ++row) {
    const double t = 2.0 * row / (grid.across - 1) - 1.0;
    const Vector2 c0 = map.c[0] + t * (map.c[2] + t * map.c[5]), c1 = map.c[1] + t * map.c[4];
    for (int column = 0; column < grid.along; ++column, ++i) {
      const double s = 2.0 * column / (grid.along - 1) - 1.0;
      const Vector2 pixel = c0 + s * (c1 + s * map.c[3]);
      float value, dx, dy;
      photo.sample(static_cast<float>(pixel.x()), static_cast<float>(pixel.y()), value, dx, dy);
      samples.value[i] = value;
      if (!with_slopes) continue;
      const float along_normal = dx * gx + dy * gy;
      samples.slope(i, 0) = along_normal;
      samples.slope(i, 1) = along_normal * static_cast<float>(s * half_along);
      samples.slope(i, 2) = along_normal * static_cast<float>(t * half_across);
    }
  }
  samples.value -= samples.value.mean();
  const float spread = std::sqrt(samples.value.square().mean());
  samples.contrast = static_cast<double>(spread) / 128.0;
  if (spread < 1.0f) return true;
  samples.value /= spread;
  if (with_slopes) {
    for (int k = 0; k < 3; ++k) {
      auto column = samples.slope.col(k);
      column /= spread;
      // Normalising takes mean and spread out of the derivative, too.
      column -= column.mean();
      column -= samples.value * (samples.value * column).mean();
    }
  }
  return true;
}

}  // namespace rimwright
