#include "measure/continue_profile.h"

#include <Eigen/Cholesky>
#include <algorithm>
#include <cmath>
#include <limits>

namespace rimwright {

namespace {

struct Process {
  double mean_mm = 0.0, variance = 0.0, length_mm = 1.0;
  [[nodiscard]] double covariance(double apart_mm) const {
    const double x = apart_mm / length_mm;
    return variance * std::exp(-0.5 * x * x);
  }
};

// Height and length of the waves that the profile shows, less what noise adds to both.
Process process_of(const std::vector<double>& profile, double step_mm, double white_u_mm, double shortest_mm,
                   double longest_mm) {
  double count = 0, sum = 0, squares = 0, steps = 0, steep_squares = 0;
  double low = std::numeric_limits<double>::infinity(), high = -low;
  const auto apart = static_cast<std::size_t>(std::max(1.0, std::round(0.5 * shortest_mm / step_mm)));
  for (std::size_t i = 0; i < profile.size(); ++i) {
    if (!std::isfinite(profile[i])) continue;
    count += 1, sum += profile[i], squares += profile[i] * profile[i];
    low = std::min(low, profile[i]), high = std::max(high, profile[i]);
    if (i < apart || !std::isfinite(profile[i - apart])) continue;
    const double slope = (profile[i] - profile[i - apart]) / (static_cast<double>(apart) * step_mm);
    steps += 1, steep_squares += slope * slope;
  }
  Process process;
  process.mean_mm = sum / count;
  const double noise = white_u_mm * white_u_mm;
  process.variance = std::max(1e-10, squares / count - process.mean_mm * process.mean_mm - noise);
  const double slope_noise = 2.0 * noise / std::pow(static_cast<double>(apart) * step_mm, 2);
  const double steepness = steps > 0 ? std::max(0.0, steep_squares / steps - slope_noise) : 0.0;
  process.length_mm =
      steepness > 0.0 ? std::clamp(std::sqrt(process.variance / steepness), shortest_mm, longest_mm) : longest_mm;
  // One hump in a long level stretch stands higher than the standard deviation tells: a sine as high has half the
  // square of half its height. (Noise alone makes a range of five standard uncertainties.)
  const double half_height = std::max(0.0, 0.5 * (high - low) - 2.5 * white_u_mm);
  process.variance = std::max(process.variance, 0.5 * half_height * half_height);
  return process;
}

}  // namespace

ContinuedProfile continue_profile(const std::vector<double>& profile, double step_mm, std::size_t beyond_samples,
                                  double white_u_mm, double shortest_mm, double longest_mm) {
  const Process process = process_of(profile, step_mm, white_u_mm, shortest_mm, longest_mm);
  ContinuedProfile result;
  result.heights_mm.assign(profile.size() + 2 * beyond_samples, std::numeric_limits<double>::quiet_NaN());
  std::copy(profile.begin(), profile.end(), result.heights_mm.begin() + static_cast<std::ptrdiff_t>(beyond_samples));
  std::vector<std::size_t> seen;
  for (std::size_t i = 0; i < result.heights_mm.size(); ++i)
    (std::isfinite(result.heights_mm[i]) ? seen : result.unseen).push_back(i);
  // Samples closer together than a quarter of l, or farther from a gap or an end than 6 l, tell nothing more of it.
  const auto every = static_cast<std::size_t>(std::max(1.0, std::floor(0.25 * process.length_mm / step_mm)));
  const auto near = static_cast<std::size_t>(std::ceil(6.0 * process.length_mm / step_mm));
  std::vector<std::size_t> kept;
  for (const std::size_t i : seen) {
    const auto after = std::upper_bound(result.unseen.begin(), result.unseen.end(), i);
    std::size_t away = result.heights_mm.size();
    if (after != result.unseen.end()) away = std::min(away, *after - i);
    if (after != result.unseen.begin()) away = std::min(away, i - *std::prev(after));
    if (away == 1 || (away <= near && i % every == 0)) kept.push_back(i);
  }
  // The level the waves stand on is not known better than their height: a constant of the same variance.
  const auto covariance = [&](std::size_t i, std::size_t j) {
    return process.covariance(step_mm * (static_cast<double>(i) - static_cast<double>(j))) + process.variance;
  };
  const auto n = static_cast<Eigen::Index>(kept.size()), m = static_cast<Eigen::Index>(result.unseen.size());
  Eigen::MatrixXd of_seen(n, n), across(m, n), of_unseen(m, m);
  Eigen::VectorXd departures(n);
  const auto at = [](const std::vector<std::size_t>& indices, Eigen::Index k) {
    return indices[static_cast<std::size_t>(k)];
  };
  for (Eigen::Index a = 0; a < n; ++a) {
    departures[a] = result.heights_mm[at(kept, a)] - process.mean_mm;
    for (Eigen::Index b = 0; b < n; ++b) of_seen(a, b) = covariance(at(kept, a), at(kept, b));
  }
  for (Eigen::Index a = 0; a < m; ++a) {
    for (Eigen::Index b = 0; b < n; ++b) across(a, b) = covariance(at(result.unseen, a), at(kept, b));
    for (Eigen::Index b = 0; b < m; ++b) of_unseen(a, b) = covariance(at(result.unseen, a), at(result.unseen, b));
  }
  // The noise of a sample; and a thousandth of the waves, without which the matrix is singular in all but name.
  of_seen.diagonal().array() += white_u_mm * white_u_mm + 1e-3 * process.variance;
  const Eigen::LLT<Eigen::MatrixXd> solver(of_seen);
  const Eigen::VectorXd mean = across * solver.solve(departures);
  for (Eigen::Index a = 0; a < m; ++a) result.heights_mm[at(result.unseen, a)] = process.mean_mm + mean[a];
  result.unseen_covariance = of_unseen - across * solver.solve(across.transpose());
  return result;
}

}  // namespace rimwright
