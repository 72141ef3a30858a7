#include "capture/depth/depth_noise.h"

#include <algorithm>
#include <cmath>
#include <numbers>

#include "core/median.h"

namespace rimwright {

namespace {

constexpr double bin_rad = std::numbers::pi / 18.0;
constexpr std::size_t fewest_patches = 200;
constexpr std::size_t fewest_in_bin = 50;

// Where values crowd: the middle of their shortest half (Rousseeuw, JASA 79, 1984). Windows across steps and edges
// scatter more than noise and leave it where it is until they are nearly half of all.
double crowded_value(std::vector<double>& values) {
  std::sort(values.begin(), values.end());
  const std::size_t half = values.size() / 2;
  std::size_t best = 0;
  for (std::size_t i = 0; i + half < values.size(); ++i) {
    if (values[i + half] - values[i] < values[best + half] - values[best]) best = i;
  }
  return 0.5 * (values[best] + values[best + half]);
}

// The nearest sequence that never falls, each value weighed by how much it rests on (pool adjacent violators: Ayer,
// Brunk, Ewing, Reid and Silverman, Annals of Mathematical Statistics 26, 1955).
void make_never_falling(std::array<double, DepthNoise::incidence_bins>& values,
                        const std::array<double, DepthNoise::incidence_bins>& weights) {
  struct Block {
    double value = 0.0, weight = 0.0;
    std::size_t size = 0;
  };
  std::vector<Block> blocks;
  for (std::size_t i = 0; i < values.size(); ++i) {
    blocks.push_back({values[i], weights[i], 1});
    while (blocks.size() > 1 && blocks[blocks.size() - 2].value > blocks.back().value) {
      const Block last = blocks.back();
      blocks.pop_back();
      Block& before = blocks.back();
      const double weight = before.weight + last.weight;
      before.value = (before.weight * before.value + last.weight * last.value) / weight;
      before.weight = weight;
      before.size += last.size;
    }
  }
  std::size_t i = 0;
  for (const Block& block : blocks) {
    for (std::size_t k = 0; k < block.size; ++k) values[i++] = block.value;
  }
}

std::size_t bin_of(double incidence_rad) {
  return std::min(DepthNoise::incidence_bins - 1, static_cast<std::size_t>(std::max(0.0, incidence_rad / bin_rad)));
}

// Exponent of range from medians in equal shares of the patches, nearest to farthest. Only meaningful when the
// range varies by a fifth or more.
bool fit_range_power(std::vector<std::pair<double, double>> range_and_sigma, double& power) {
  std::sort(range_and_sigma.begin(), range_and_sigma.end());
  constexpr std::size_t shares = 10;
  const std::size_t share = range_and_sigma.size() / shares;
  if (share < fewest_in_bin) return false;
  std::vector<double> log_range, log_sigma;
  for (std::size_t i = 0; i < shares; ++i) {
    std::vector<double> sigma;
    for (std::size_t k = i * share; k < (i + 1) * share; ++k) sigma.push_back(range_and_sigma[k].second);
    log_range.push_back(std::log(range_and_sigma[i * share + share / 2].first));
    log_sigma.push_back(std::log(std::max(1e-6, crowded_value(sigma))));
  }
  if (log_range.back() - log_range.front() < std::log(1.2)) return false;
  double mean_range = 0.0, mean_sigma = 0.0, square = 0.0, product = 0.0;
  for (std::size_t i = 0; i < shares; ++i) {
    mean_range += log_range[i] / shares;
    mean_sigma += log_sigma[i] / shares;
  }
  for (std::size_t i = 0; i < shares; ++i) {
    square += (log_range[i] - mean_range) * (log_range[i] - mean_range);
    product += (log_range[i] - mean_range) * (log_sigma[i] - mean_sigma);
  }
  power = std::clamp(product / square, 0.0, 4.0);
  return true;
}

}  // namespace

double DepthNoise::sigma_z_mm(double z_mm, double incidence_rad) const {
  // Linear between the middles of the bins.
  const double place = std::clamp(incidence_rad / bin_rad - 0.5, 0.0, static_cast<double>(incidence_bins - 1));
  const auto below = std::min(incidence_bins - 2, static_cast<std::size_t>(place));
  const double share = place - static_cast<double>(below);
  const double factor = (1.0 - share) * incidence_factor[below] + share * incidence_factor[below + 1];
  return sigma_mm * std::pow(z_mm / range_mm, range_power) * factor;
}

Outcome<DepthNoise> estimate_noise(const std::vector<std::vector<DepthPatch>>& patches) {
  std::vector<double> ranges;
  for (const auto& frame : patches) {
    for (const DepthPatch& patch : frame) ranges.push_back(patch.point_mm.z());
  }
  if (ranges.size() < fewest_patches) {
    return refuse(
        RefusalReason::capture_insufficient,
        "the depth images show only " + std::to_string(ranges.size()) + " smooth places",
        "hold the camera within its range, about 300 mm from the body, and matt what is glossy or dark with chalk");
  }
  DepthNoise noise;
  noise.range_mm = median_of(ranges);
  std::vector<std::pair<double, double>> square_on;
  for (const auto& frame : patches) {
    for (const DepthPatch& patch : frame) {
      if (patch.incidence_rad < 4.5 * bin_rad) square_on.emplace_back(patch.point_mm.z(), patch.sigma_z_mm);
    }
  }
  noise.range_power_fitted = fit_range_power(std::move(square_on), noise.range_power);
  if (!noise.range_power_fitted) noise.range_power = 2.0;

  std::array<std::vector<double>, DepthNoise::incidence_bins> sigma;
  for (const auto& frame : patches) {
    for (const DepthPatch& patch : frame) {
      sigma[bin_of(patch.incidence_rad)].push_back(patch.sigma_z_mm /
                                                   std::pow(patch.point_mm.z() / noise.range_mm, noise.range_power));
    }
  }
  // Bins that hold little follow the one before them.
  std::array<double, DepthNoise::incidence_bins> weight{};
  for (std::size_t i = 0; i < sigma.size(); ++i) {
    const bool is_seen = sigma[i].size() >= fewest_in_bin;
    noise.incidence_factor[i] = is_seen ? crowded_value(sigma[i]) : (i > 0 ? noise.incidence_factor[i - 1] : 0.0);
    weight[i] = is_seen ? static_cast<double>(sigma[i].size()) : 1e-3;
  }
  make_never_falling(noise.incidence_factor, weight);
  // Bins before the first that is seen take its level.
  double first = 0.0;
  for (const double factor : noise.incidence_factor) {
    if (factor > 0.0 && first == 0.0) first = factor;
  }
  if (!(first > 0.0)) {
    // A noiseless capture: the rounding of the last bit of a double still stands above zero.
    first = 1e-6;
  }
  noise.sigma_mm = first;
  for (double& factor : noise.incidence_factor) factor = std::max(first, factor) / first;
  return noise;
}

void drop_edge_patches(std::vector<std::vector<DepthPatch>>& patches, const DepthNoise& noise) {
  for (auto& frame : patches) {
    std::erase_if(frame, [&noise](const DepthPatch& patch) {
      // Scatter of n pixels wanders by 1 / sqrt(2 n) of itself; five of those, and a tenth for the model's own error.
      const double wander = 5.0 / std::sqrt(2.0 * static_cast<double>(patch.pixels));
      const double sigma = noise.sigma_z_mm(patch.point_mm.z(), patch.incidence_rad) + 1e-6;
      // The largest of up to 300 pixels reaches 4 standard deviations once in fifty windows; an edge in a window's
      // corner, which its scatter hides, reaches farther.
      constexpr double farthest = 4.0;
      return patch.sigma_z_mm > (1.1 + wander) * sigma || patch.worst_z_mm > farthest * sigma;
    });
  }
}

}  // namespace rimwright
