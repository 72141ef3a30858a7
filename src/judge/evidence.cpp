#include "judge/evidence.h"

#include <algorithm>
#include <cmath>
#include <limits>
#include <numbers>

namespace rimwright {
namespace {

double normal_upper_tail(double z) { return 0.5 * std::erfc(z / std::sqrt(2.0)); }

// P(max of `places` independent standard normals > z), exact for small tails.
double any_above(double z, double places) { return -std::expm1(places * std::log1p(-normal_upper_tail(z))); }

double probability_above(double factor, double common, double local, double places) {
  if (local < 1e-9) return normal_upper_tail(factor / common);
  if (common < 1e-9) return any_above(factor / local, places);
  constexpr double reach = 6.0;  // beyond six standard deviations lies less than 1e-8
  constexpr int intervals = 96;
  constexpr double step = 2 * reach / intervals;
  double sum = 0.0;
  for (int i = 0; i <= intervals; ++i) {
    const double s = -reach + i * step;
    const double density = std::exp(-0.5 * s * s) / std::sqrt(2 * std::numbers::pi);
    sum += (i == 0 || i == intervals ? 0.5 : 1.0) * density * any_above((factor - s * common) / local, places);
  }
  return sum * step;
}

}  // namespace

double family_factor(double common_share_c, double places, double alpha) {
  const double common = std::clamp(common_share_c, 0.0, 1.0);
  const double local = std::sqrt(1.0 - common * common);
  double below = 0.0, above = 12.0;
  for (int i = 0; i < 28; ++i) {
    const double middle = (below + above) / 2;
    (probability_above(middle, common, local, std::max(1.0, places)) > alpha ? below : above) = middle;
  }
  return above;
}

namespace {
constexpr std::size_t steps = 20;
constexpr double steps_a_radian = 2 * steps / std::numbers::pi;
}  // namespace

FamilyFactors::FamilyFactors(double places, double alpha)
    : places_(places), alpha_(alpha), by_angle_(steps + 1, std::numeric_limits<double>::quiet_NaN()) {}

double FamilyFactors::node(std::size_t i) {
  if (std::isnan(by_angle_[i]))
    by_angle_[i] = family_factor(std::sin(static_cast<double>(i) / steps_a_radian), places_, alpha_);
  return by_angle_[i];
}

double FamilyFactors::at(double common_u, double local_u) {
  const double position = std::atan2(common_u, local_u) * steps_a_radian;
  if (std::isnan(position)) return position;
  const auto low = std::min(steps - 1, static_cast<std::size_t>(position));
  const double t = position - static_cast<double>(low);
  return node(low) * (1 - t) + node(low + 1) * t;
}

double correlation_length_in_stations(const std::vector<double>& values) {
  const auto count = static_cast<std::ptrdiff_t>(values.size());
  constexpr std::ptrdiff_t half_window = 20;
  constexpr std::ptrdiff_t longest_lag = 15;
  if (count < 2 * half_window) return static_cast<double>(std::max<std::ptrdiff_t>(1, count));
  std::vector<double> about_mean(values.size());
  for (std::ptrdiff_t i = 0; i < count; ++i) {
    const std::ptrdiff_t from = std::max<std::ptrdiff_t>(0, i - half_window);
    const std::ptrdiff_t to = std::min(count - 1, i + half_window);
    double sum = 0.0;
    for (std::ptrdiff_t j = from; j <= to; ++j) sum += values[j];
    about_mean[i] = values[i] - sum / static_cast<double>(to - from + 1);
  }
  double variance = 0.0;
  for (const double v : about_mean) variance += v * v;
  if (!(variance > 0)) return 1.0;
  double length = 1.0;
  std::ptrdiff_t lags = 0;
  for (std::ptrdiff_t lag = 1; lag <= longest_lag; ++lag) {
    double covariance = 0.0;
    for (std::ptrdiff_t i = 0; i + lag < count; ++i) covariance += about_mean[i] * about_mean[i + lag];
    const double correlation = covariance / variance;
    if (correlation <= 0) break;
    length += 2 * correlation;
    lags = lag;
  }
  // Taking off the running mean of W values lowers each correlation by about length / W.
  return length / (1.0 - 2.0 * static_cast<double>(lags) / (2 * half_window + 1));
}

}  // namespace rimwright
