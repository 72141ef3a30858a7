#include "measure/band_height.h"

#include <Eigen/Cholesky>
#include <algorithm>
#include <cmath>
#include <limits>
#include <numbers>

#include "measure/gaussian_filter.h"

namespace rimwright {

namespace {

constexpr double nan = std::numeric_limits<double>::quiet_NaN();

std::pair<std::size_t, std::size_t> finite_range(const std::vector<double>& profile) {
  std::size_t first = 0, end = profile.size();
  while (first < end && !std::isfinite(profile[first])) ++first;
  while (end > first && !std::isfinite(profile[end - 1])) --end;
  return {first, end};
}

// The profile from its first to its last sample, going on level for pad samples at both ends.
std::vector<double> extended(const std::vector<double>& profile, std::size_t first, std::size_t end, std::size_t pad,
                             std::size_t level_over) {
  const auto level = [&](std::size_t from, std::size_t to) {
    double sum = 0, count = 0;
    for (std::size_t i = from; i < to; ++i)
      if (std::isfinite(profile[i])) sum += profile[i], count += 1;
    return sum / count;
  };
  std::vector<double> longer(pad, level(first, std::min(end, first + level_over)));
  longer.insert(longer.end(), profile.begin() + static_cast<std::ptrdiff_t>(first),
                profile.begin() + static_cast<std::ptrdiff_t>(end));
  longer.insert(longer.end(), pad, level(std::max(first, end - std::min(end, level_over)), end));
  return longer;
}

// Each sample replaced by the middle of the least-squares parabola through those within window_mm of it.
std::vector<double> by_parabolas(const std::vector<double>& profile, double step_mm, double window_mm) {
  const auto half = static_cast<std::ptrdiff_t>(std::floor(window_mm / step_mm));
  const auto count = static_cast<std::ptrdiff_t>(profile.size());
  std::vector<double> result(profile.size(), nan);
  for (std::ptrdiff_t i = 0; i < count; ++i) {
    Eigen::Matrix3d normal = Eigen::Matrix3d::Zero();
    Eigen::Vector3d right = Eigen::Vector3d::Zero();
    double seen = 0.0;
    for (std::ptrdiff_t d = -half; d <= half; ++d) {
      if (i + d < 0 || i + d >= count) continue;
      const double value = profile[static_cast<std::size_t>(i + d)];
      if (!std::isfinite(value)) continue;
      const double x = static_cast<double>(d);
      const Eigen::Vector3d row(1.0, x, x * x);
      normal += row * row.transpose();
      right += value * row;
      seen += 1.0;
    }
    if (seen >= 3.0 && std::isfinite(profile[static_cast<std::size_t>(i)]))
      result[static_cast<std::size_t>(i)] = normal.ldlt().solve(right)[0];
  }
  return result;
}

}  // namespace

double noise_share(double apart_mm, double lc_mm) {
  const double alpha = std::sqrt(std::numbers::ln2 / std::numbers::pi);
  return std::min(1.0, apart_mm / (alpha * lc_mm * std::numbers::sqrt2));
}

Measured height_in_band(const std::vector<double>& profile, double step_mm, const WaveBand& band,
                        const ProfileSamples& samples) {
  const auto [first, end] = finite_range(profile);
  if (end - first < 2) return Measured::not_measured(RefusalReason::not_seen, "nothing of the profile is seen");
  const auto pad = static_cast<std::size_t>(std::ceil(band.longest_mm / step_mm));
  const auto level_over = static_cast<std::size_t>(std::max(1.0, std::round(0.5 * band.shortest_mm / step_mm)));
  const std::vector<double> longer = extended(profile, first, end, pad, level_over);
  const std::vector<double> smooth = gaussian_mean_line(longer, step_mm, band.shortest_mm, 0);
  const std::vector<double> slow = gaussian_mean_line(longer, step_mm, band.longest_mm, 0);
  std::vector<double> waves(end - first, nan);
  for (std::size_t i = 0; i < waves.size(); ++i)
    if (std::isfinite(longer[pad + i])) waves[i] = smooth[pad + i] - slow[pad + i];
  const double going_on_level = peak_to_valley(waves).height;
  const double by_seen_part =
      peak_to_valley(wavelength_band(profile, step_mm, band.shortest_mm, band.longest_mm)).height;

  const double flattened = going_on_level - peak_to_valley(by_parabolas(waves, step_mm, samples.window_mm)).height;
  const double height = by_seen_part;

  Measured result;
  const auto seen =
      static_cast<double>(std::count_if(waves.begin(), waves.end(), [](double v) { return std::isfinite(v); }));
  const double white_u = samples.white_u_mm;
  const double independent = std::max(2.0, seen * step_mm / (0.5 * band.shortest_mm));
  // Expected range of that many independent normal values, 2 sqrt(2 ln n) in the leading order.
  const double noise_height = 2.0 * std::hypot(white_u, samples.shared_u_mm) * std::sqrt(2.0 * std::log(independent));
  result.value = std::sqrt(std::max(0.0, height * height - noise_height * noise_height));
  result.u(UncertaintySource::point_noise) = std::numbers::sqrt2 * white_u;
  result.u(UncertaintySource::correlated) = std::numbers::sqrt2 * samples.shared_u_mm;
  const double by_noise = 0.5 * std::min(height - result.value, noise_height);
  constexpr double share_of_difference = 0.6;  // the interval of 95 % then holds the other way's answer as well
  const double by_ends = share_of_difference * std::abs(going_on_level - by_seen_part);
  // What run-outs and the rim curve leave in the band: sound simulated bodies without noise to speak of show 0.00 to
  // 0.02 mm.
  constexpr double rest_mm = 0.012;
  result.u(UncertaintySource::face_form) = std::hypot(std::hypot(by_noise, by_ends), std::max(0.0, flattened), rest_mm);
  result.points_used = static_cast<std::size_t>(seen);
  return result;
}

}  // namespace rimwright
