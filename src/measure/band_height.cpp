#include "measure/band_height.h"

#include <Eigen/Cholesky>
#include <algorithm>
#include <cmath>
#include <limits>
#include <numbers>

#include "measure/continue_profile.h"
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

// Weights of a Gaussian filter by distance in samples, as gaussian_mean_line takes them with its whole reach on both
// sides.
std::vector<double> weights_by_distance(double step_mm, double cutoff_mm) {
  const double alpha = std::sqrt(std::numbers::ln2 / std::numbers::pi);  // ISO 16610-21, 4.1
  std::vector<double> weights;
  double whole = 0.0;
  for (double x = 0.0; x <= cutoff_mm + 0.5 * step_mm; x += step_mm) {
    weights.push_back(std::exp(-std::numbers::pi * std::pow(x / (alpha * cutoff_mm), 2)));
    whole += (x > 0.0 ? 2.0 : 1.0) * weights.back();
  }
  for (double& weight : weights) weight /= whole;
  return weights;
}

// Standard uncertainty of the height between two samples of the band from what is not seen.
double unseen_u_mm(const ContinuedProfile& profile, std::size_t peak, std::size_t valley, double step_mm,
                   const WaveBand& band) {
  const std::vector<double> smooth = weights_by_distance(step_mm, band.shortest_mm);
  const std::vector<double> slow = weights_by_distance(step_mm, band.longest_mm);
  Eigen::VectorXd weights(static_cast<Eigen::Index>(profile.unseen.size()));
  for (std::size_t k = 0; k < profile.unseen.size(); ++k) {
    const auto taken_by = [&](std::size_t i) {
      const std::size_t apart = profile.unseen[k] > i ? profile.unseen[k] - i : i - profile.unseen[k];
      return (apart < smooth.size() ? smooth[apart] : 0.0) - (apart < slow.size() ? slow[apart] : 0.0);
    };
    weights[static_cast<Eigen::Index>(k)] = taken_by(peak) - taken_by(valley);
  }
  return std::sqrt(std::max(0.0, weights.dot(profile.unseen_covariance * weights)));
}

// Root mean square of what a normal value stands above 0, where it does.
double rms_above_zero(double mean, double sigma) {
  if (sigma <= 0.0) return std::max(0.0, mean);
  const double z = mean / sigma;
  const double density = std::exp(-0.5 * z * z) / std::sqrt(2.0 * std::numbers::pi);
  const double share = 0.5 * std::erfc(-z / std::numbers::sqrt2);
  return std::sqrt(std::max(0.0, (mean * mean + sigma * sigma) * share + mean * sigma * density));
}

// What waves might rise above the highest place seen, or sink below the lowest, where they are not seen: root sum of
// squares over the gaps. `waves`: the band from sample `first` of the continued profile on.
double hidden_u_mm(const ContinuedProfile& profile, const std::vector<double>& waves, std::size_t first,
                   std::size_t peak, std::size_t valley, double step_mm, const WaveBand& band) {
  const auto look_every = static_cast<std::size_t>(std::max(1.0, std::floor(0.25 * band.shortest_mm / step_mm)));
  double squares = 0.0, most_of_gap = 0.0;
  std::size_t last = 0;
  for (const std::size_t at : profile.unseen) {
    if (at < first || at >= first + waves.size()) continue;
    if (at != last + 1) squares += most_of_gap, most_of_gap = 0.0;
    last = at;
    if ((at - first) % look_every != 0) continue;
    const double wave = waves[at - first];
    const double above = rms_above_zero(wave - waves[peak - first], unseen_u_mm(profile, at, peak, step_mm, band));
    const double below = rms_above_zero(waves[valley - first] - wave, unseen_u_mm(profile, at, valley, step_mm, band));
    most_of_gap = std::max(most_of_gap, above * above + below * below);
  }
  return std::sqrt(squares + most_of_gap);
}

// A slow drift is no wave, and going on beyond the ends would bend back from it. Up to 1 mm over the length of a bevel
// (250 mm); a line steeper than that goes through the waves of a short stretch.
void take_out_drift(std::vector<double>& profile, double step_mm) {
  constexpr double steepest = 0.004;
  double s0 = 0, s1 = 0, s2 = 0, y0 = 0, y1 = 0;
  for (std::size_t i = 0; i < profile.size(); ++i) {
    if (!std::isfinite(profile[i])) continue;
    const auto x = static_cast<double>(i);
    s0 += 1, s1 += x, s2 += x * x, y0 += profile[i], y1 += x * profile[i];
  }
  const double spread = s2 - s1 * s1 / s0;
  const double line = spread > 0.0 ? (y1 - s1 * y0 / s0) / spread : 0.0;
  const double slope = std::clamp(line, -steepest * step_mm, steepest * step_mm);
  for (std::size_t i = 0; i < profile.size(); ++i)
    profile[i] -= (y0 - slope * s1) / s0 + slope * static_cast<double>(i);
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
  std::vector<double> stretch(profile.begin() + static_cast<std::ptrdiff_t>(first),
                              profile.begin() + static_cast<std::ptrdiff_t>(end));
  take_out_drift(stretch, step_mm);
  constexpr double most_beyond = 1500;  // bounds the work where steps are far finer than the band
  const auto beyond = static_cast<std::size_t>(std::min(most_beyond, std::ceil(band.longest_mm / step_mm)));
  // A sine's l is its wavelength over 2 pi.
  const ContinuedProfile continued = continue_profile(stretch, step_mm, beyond, samples.white_u_mm,
                                                      0.5 * band.shortest_mm, band.longest_mm / (2 * std::numbers::pi));
  const std::vector<double> smooth = gaussian_mean_line(continued.heights_mm, step_mm, band.shortest_mm, 0);
  const std::vector<double> slow = gaussian_mean_line(continued.heights_mm, step_mm, band.longest_mm, 0);
  std::vector<double> waves(stretch.size(), nan);
  for (std::size_t i = 0; i < waves.size(); ++i)
    if (std::isfinite(stretch[i])) waves[i] = smooth[beyond + i] - slow[beyond + i];
  const PeakToValley extremes = peak_to_valley(waves);
  const double height = extremes.height;
  const double flattened = height - peak_to_valley(by_parabolas(waves, step_mm, samples.window_mm)).height;

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
  const double by_ends = unseen_u_mm(continued, beyond + extremes.peak, beyond + extremes.valley, step_mm, band);
  const auto most = static_cast<std::ptrdiff_t>(beyond);
  const auto held = [&](std::ptrdiff_t samples_short) {
    return static_cast<std::size_t>(std::clamp<std::ptrdiff_t>(samples_short, 0, most));
  };
  const std::size_t short_before = samples.asked ? held(static_cast<std::ptrdiff_t>(first) - samples.asked->first) : 0;
  const std::size_t short_after =
      samples.asked ? held(samples.asked->second - static_cast<std::ptrdiff_t>(end) + 1) : 0;
  std::vector<double> asked(waves.size() + short_before + short_after);
  for (std::size_t i = 0; i < asked.size(); ++i)
    asked[i] = smooth[beyond - short_before + i] - slow[beyond - short_before + i];
  const double by_hidden = hidden_u_mm(continued, asked, beyond - short_before, beyond + extremes.peak,
                                       beyond + extremes.valley, step_mm, band);
  const double by_form = samples.form_u_mm.empty() ? 0.0
                                                   : std::hypot(samples.form_u_mm[first + extremes.peak],
                                                                samples.form_u_mm[first + extremes.valley]);
  // What run-outs and the rim curve leave in the band: sound simulated bodies without noise to speak of show 0.00 to
  // 0.02 mm.
  constexpr double rest_mm = 0.012;
  result.u(UncertaintySource::face_form) =
      std::hypot(std::hypot(by_noise, by_ends, by_form), std::hypot(std::max(0.0, flattened), by_hidden), rest_mm);
  result.points_used = static_cast<std::size_t>(seen);
  return result;
}

}  // namespace rimwright
