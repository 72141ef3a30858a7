#include "measure/band_height.h"

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

}  // namespace

double noise_share(double apart_mm, double lc_mm) {
  const double alpha = std::sqrt(std::numbers::ln2 / std::numbers::pi);
  return std::min(1.0, apart_mm / (alpha * lc_mm * std::numbers::sqrt2));
}

Measured height_in_band(const std::vector<double>& profile, double step_mm, const WaveBand& band,
                        const ProfileNoise& noise) {
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
  const double height = peak_to_valley(wavelength_band(profile, step_mm, band.shortest_mm, band.longest_mm)).height;

  Measured result;
  const auto samples =
      static_cast<double>(std::count_if(waves.begin(), waves.end(), [](double v) { return std::isfinite(v); }));
  const double white_u = noise.white_u_mm;
  const double independent = std::max(2.0, samples * step_mm / (0.5 * band.shortest_mm));
  // Expected range of that many independent normal values, 2 sqrt(2 ln n) in the leading order.
  const double noise_height = 2.0 * std::hypot(white_u, noise.shared_u_mm) * std::sqrt(2.0 * std::log(independent));
  result.value = std::sqrt(std::max(0.0, height * height - noise_height * noise_height));
  result.u(UncertaintySource::point_noise) = std::numbers::sqrt2 * white_u;
  result.u(UncertaintySource::correlated) = std::numbers::sqrt2 * noise.shared_u_mm;
  const double by_noise = 0.5 * std::min(height - result.value, noise_height);
  const double by_ends = 0.5 * std::abs(height - going_on_level);
  // What run-outs and the rim curve leave in the band: sound simulated bodies without noise to speak of show 0.00 to
  // 0.02 mm.
  constexpr double rest_mm = 0.012;
  result.u(UncertaintySource::face_form) = std::hypot(by_noise, by_ends, rest_mm);
  result.points_used = static_cast<std::size_t>(samples);
  return result;
}

}  // namespace rimwright
