#include "measure/gaussian_filter.h"

#include <Eigen/Cholesky>
#include <algorithm>
#include <cmath>
#include <limits>
#include <numbers>

namespace rimwright {

std::vector<double> gaussian_mean_line(const std::vector<double>& profile, double step_mm, double lc_mm, int order) {
  const double alpha = std::sqrt(std::numbers::ln2 / std::numbers::pi);  // ISO 16610-21, 4.1
  const auto reach = static_cast<std::ptrdiff_t>(std::ceil(lc_mm / step_mm));
  std::vector<double> weights(static_cast<std::size_t>(reach) + 1);
  double whole = 0.0;
  for (std::size_t k = 0; k < weights.size(); ++k) {
    const double x = static_cast<double>(k) * step_mm / (alpha * lc_mm);
    weights[k] = std::exp(-std::numbers::pi * x * x);
    whole += (k == 0 ? 1.0 : 2.0) * weights[k];
  }
  const auto n = static_cast<std::ptrdiff_t>(profile.size());
  std::vector<double> mean(profile.size(), std::numeric_limits<double>::quiet_NaN());
  for (std::ptrdiff_t i = 0; i < n; ++i) {
    double s0 = 0, s1 = 0, s2 = 0, s3 = 0, s4 = 0, y0 = 0, y1 = 0, y2 = 0;
    for (std::ptrdiff_t j = std::max<std::ptrdiff_t>(0, i - reach); j <= std::min(n - 1, i + reach); ++j) {
      const double y = profile[static_cast<std::size_t>(j)];
      if (!std::isfinite(y)) continue;
      const double w = weights[static_cast<std::size_t>(std::abs(j - i))];
      const double x = static_cast<double>(j - i) / static_cast<double>(reach);
      s0 += w, s1 += w * x, s2 += w * x * x, s3 += w * x * x * x, s4 += w * x * x * x * x;
      y0 += w * y, y1 += w * y * x, y2 += w * y * x * x;
    }
    if (s0 < 0.25 * whole) continue;
    if (order == 0) {
      mean[static_cast<std::size_t>(i)] = y0 / s0;
      continue;
    }
    Eigen::Matrix3d normal;
    normal << s0, s1, s2, s1, s2, s3, s2, s3, s4;
    normal.diagonal().tail<2>().array() += 1e-9 * s0;
    mean[static_cast<std::size_t>(i)] = normal.ldlt().solve(Eigen::Vector3d(y0, y1, y2))[0];
  }
  return mean;
}

std::vector<double> wavelength_band(const std::vector<double>& profile, double step_mm, double shortest_mm,
                                    double longest_mm) {
  // The straight line through the whole profile is no wave; left in, it would bias the renormalised ends.
  const std::size_t n = profile.size();
  double s0 = 0, s1 = 0, s2 = 0, y0 = 0, y1 = 0;
  for (std::size_t i = 0; i < n; ++i) {
    if (!std::isfinite(profile[i])) continue;
    const auto x = static_cast<double>(i);
    s0 += 1, s1 += x, s2 += x * x, y0 += profile[i], y1 += x * profile[i];
  }
  std::vector<double> level = profile;
  const double spread = s2 - (s0 > 0 ? s1 * s1 / s0 : 0.0);
  const double slope = spread > 0 ? (y1 - s1 * y0 / s0) / spread : 0.0;
  const double offset = s0 > 0 ? (y0 - slope * s1) / s0 : 0.0;
  for (std::size_t i = 0; i < n; ++i) level[i] -= offset + slope * static_cast<double>(i);
  const std::vector<double> smooth = gaussian_mean_line(level, step_mm, shortest_mm, 0);
  const std::vector<double> slow = gaussian_mean_line(level, step_mm, longest_mm, 0);
  std::vector<double> band(n);
  for (std::size_t i = 0; i < n; ++i) band[i] = smooth[i] - slow[i];
  return band;
}

PeakToValley peak_to_valley(const std::vector<double>& profile) {
  PeakToValley result;
  bool any = false;
  for (std::size_t i = 0; i < profile.size(); ++i) {
    if (!std::isfinite(profile[i])) continue;
    if (!any) result.peak = result.valley = i;
    any = true;
    if (profile[i] > profile[result.peak]) result.peak = i;
    if (profile[i] < profile[result.valley]) result.valley = i;
  }
  if (any) result.height = profile[result.peak] - profile[result.valley];
  return result;
}

}  // namespace rimwright
