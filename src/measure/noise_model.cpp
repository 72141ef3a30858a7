#include "measure/noise_model.h"

#include <algorithm>
#include <array>
#include <cmath>
#include <numbers>
#include <optional>

#include "core/median.h"

namespace rimwright {

namespace {

constexpr std::size_t longest_lag = 24;  // stations

// By lag along the rim: sum of the fourth roots of squared differences, expected white part and count.
struct Variogram {
  std::array<double, longest_lag + 1> roots{}, white{}, count{};

  // Robust half mean square of the differences (Cressie and Hawkins 1980): what stands on the rim here and there does
  // not count as noise.
  [[nodiscard]] double half_mean_square(std::size_t lag) const {
    return 0.5 * std::pow(roots[lag] / count[lag], 4) / (0.457 + 0.494 / count[lag]);
  }
};

void add_variogram(const FaceGrid& grid, double sigma_squared, Variogram& variogram) {
  for (std::size_t row = 0; row < grid.rows; ++row)
    for (std::size_t column = 0; column < grid.columns; ++column) {
      const std::size_t here = grid.index(row, column);
      if (grid.count[here] < 3.0F) continue;
      for (std::size_t lag = 1; lag <= longest_lag && column + lag < grid.columns; ++lag) {
        const std::size_t there = grid.index(row, column + lag);
        if (grid.count[there] < 3.0F) continue;
        const double d = static_cast<double>(grid.mean_mm[there]) - static_cast<double>(grid.mean_mm[here]);
        variogram.roots[lag] += std::sqrt(std::abs(d));
        variogram.white[lag] +=
            0.5 * sigma_squared *
            (1.0 / static_cast<double>(grid.count[here]) + 1.0 / static_cast<double>(grid.count[there]));
        variogram.count[lag] += 1.0;
      }
    }
}

// Takes the straight trend along the whole rim from the face, so that a tilt does not count as noise.
FaceGrid without_trend(FaceGrid grid) {
  std::vector<double> level(grid.columns, std::numeric_limits<double>::quiet_NaN());
  for (std::size_t c = 0; c < grid.columns; ++c) {
    double sum = 0, count = 0;
    for (std::size_t r = 0; r < grid.rows; ++r) {
      const std::size_t i = grid.index(r, c);
      if (grid.count[i] < 3.0F) continue;
      sum += grid.mean_mm[i];
      count += 1;
    }
    if (count > 0) level[c] = sum / count;
  }
  double s0 = 0, s1 = 0, s2 = 0, y0 = 0, y1 = 0;
  const double middle = static_cast<double>(grid.columns) / 2, scale = std::max(1.0, middle);
  for (std::size_t c = 0; c < grid.columns; ++c) {
    if (!std::isfinite(level[c])) continue;
    const double x = (static_cast<double>(c) - middle) / scale;
    s0 += 1, s1 += x, s2 += x * x, y0 += level[c], y1 += level[c] * x;
  }
  const double spread = s0 > 0 ? s2 - s1 * s1 / s0 : 0.0;
  const double slope = spread > 0 ? (y1 - s1 * y0 / s0) / spread : 0.0;
  for (std::size_t c = 0; c < grid.columns; ++c)
    for (std::size_t r = 0; r < grid.rows; ++r)
      grid.mean_mm[grid.index(r, c)] -= static_cast<float>(slope * (static_cast<double>(c) - middle) / scale);
  return grid;
}

struct Correlated {
  double variance = 0.0;
  double length = 0.0;  // stations
};

// The correlated part of one face's scatter; nothing where it cannot be told from white noise.
std::optional<Correlated> correlated_part(const FaceGrid& grid, double white_sigma_mm) {
  Variogram variogram;
  add_variogram(without_trend(grid), white_sigma_mm * white_sigma_mm, variogram);
  std::array<double, longest_lag + 1> gain{};
  double plateau = 0.0, plateau_error = 0.0, plateau_count = 0.0;
  for (std::size_t lag = 1; lag <= longest_lag; ++lag) {
    if (variogram.count[lag] < 100.0) return std::nullopt;  // too little seen to tell white from correlated
    gain[lag] = variogram.half_mean_square(lag) - variogram.white[lag] / variogram.count[lag];
    if (lag > 2 * longest_lag / 3) {
      plateau += gain[lag];
      plateau_error += variogram.white[lag] / variogram.count[lag];
      plateau_count += 1.0;
    }
  }
  plateau /= plateau_count;
  plateau_error /= plateau_count;
  // The outlier gate trims the white noise by about a hundredth: less than 3 % of it is not a finding.
  if (plateau < 0.03 * plateau_error) return std::nullopt;
  constexpr double share_at_one_length = 0.632;  // 1 - exp(-1)
  double length = static_cast<double>(longest_lag) * 0.6;
  for (std::size_t lag = 1; lag <= longest_lag; ++lag)
    if (gain[lag] >= share_at_one_length * plateau) {
      const double before = lag > 1 ? gain[lag - 1] : 0.0;
      length =
          static_cast<double>(lag - 1) + (share_at_one_length * plateau - before) / std::max(1e-12, gain[lag] - before);
      break;
    }
  return Correlated{
      plateau, std::max(0.3, length / std::numbers::sqrt2)};  // exp(-h^2 / (2 l^2)) falls to exp(-1) at h = l sqrt 2
}

double median_over(const FaceFits& face, double FaceFit::*member) {
  std::vector<double> values;
  for (const auto& fit : face.at)
    if (fit.measured) values.push_back(fit.*member);
  return median_of(std::move(values));
}

// Noise that does not come from the face's form, before chance.
double expected_scatter_mm(const NoiseModel& noise, const FaceFit& fit) {
  return std::max(noise.white_sigma_mm * fit.stated_sigma_mm / noise.stated_sigma_mm, fit.step_noise_mm);
}

}  // namespace

NoiseModel estimate_noise(const FaceGrid& side, const FaceGrid& top, const FittedRim& fitted) {
  NoiseModel noise;
  const FaceFits &side_fits = *fitted.find(FaceName::side), &top_fits = *fitted.find(FaceName::top);
  const double side_noise = median_over(side_fits, &FaceFit::noise_mm),
               top_noise = median_over(top_fits, &FaceFit::noise_mm);
  noise.white_sigma_mm = std::sqrt(0.5 * (side_noise * side_noise + top_noise * top_noise));
  noise.stated_sigma_mm = std::max(1e-6, std::hypot(median_over(side_fits, &FaceFit::stated_sigma_mm),
                                                    median_over(top_fits, &FaceFit::stated_sigma_mm)) /
                                             std::numbers::sqrt2);
  const auto of_top = correlated_part(top, top_noise), of_side = correlated_part(side, side_noise);
  // A scanner's own error shows on both faces; what only one of them shows is that face's form. The outline follows the
  // side's mean and so takes part of the error from it: as long as both are alike in size, the larger one holds.
  if (!of_top || !of_side) return noise;
  const Correlated &less = of_top->variance < of_side->variance ? *of_top : *of_side,
                   &more = of_top->variance < of_side->variance ? *of_side : *of_top;
  constexpr double alike = 6.0;
  const Correlated& least = more.variance < alike * less.variance ? more : less;
  noise.correlated_sigma_mm = std::sqrt(least.variance);
  noise.correlation_length_mm = least.length * side.station_step_mm;
  return noise;
}

double scatter_by_chance_mm(const NoiseModel& noise, const FaceFit& fit) {
  // A capture that states its points' noise does so to a few percent, and each image of it lies a little off.
  constexpr double stated_noise_share = 0.05;
  const bool is_stated = fit.stated_sigma_mm != 1.0;
  return expected_scatter_mm(noise, fit) *
         (1.0 + 3.0 / std::sqrt(2.0 * fit.degrees_of_freedom) + (is_stated ? stated_noise_share : 0.0));
}

double misfit_mm(const NoiseModel& noise, const FaceFit& fit) {
  if (noise.white_sigma_mm <= 0.0 || fit.noise_mm <= scatter_by_chance_mm(noise, fit)) return 0.0;
  const double expected = expected_scatter_mm(noise, fit);
  return std::sqrt(fit.noise_mm * fit.noise_mm - expected * expected);
}

NoiseModel with_capture_error(NoiseModel noise, const CaptureError& error) {
  if (error.correlated_sigma_mm > noise.correlated_sigma_mm && error.correlation_length_mm > 0.0) {
    noise.correlated_sigma_mm = error.correlated_sigma_mm;
    noise.correlation_length_mm = error.correlation_length_mm;
  }
  return noise;
}

CorrelatedVariance correlated_variance(const NoiseModel& noise, double half_window_mm, double width_mm,
                                       const ReadAcross& read) {
  CorrelatedVariance variance;
  if (noise.correlated_sigma_mm <= 0.0 || width_mm <= 0.0) return variance;
  constexpr std::size_t nodes = 11;
  using Weights = std::array<double, nodes>;
  Weights along{}, height{}, slope{};
  double along_sum = 0, squares = 0, bend_squares = 0;
  const auto place = [](std::size_t k) { return (2.0 * static_cast<double>(k) + 1.0) / nodes - 1.0; };  // -1 .. 1
  for (std::size_t k = 0; k < nodes; ++k) {
    along[k] = 9.0 / 4.0 - 15.0 / 4.0 * place(k) * place(k);  // centre value of a least-squares parabola
    along_sum += along[k];
    squares += place(k) * place(k);
  }
  // Least squares in terms that are orthogonal over the nodes: 1, x and x^2 less its mean.
  const double mean_square = squares / nodes, x = read.half_widths;
  const auto bend = [&](double at) { return at * at - mean_square; };
  for (std::size_t k = 0; k < nodes; ++k) bend_squares += bend(place(k)) * bend(place(k));
  for (std::size_t k = 0; k < nodes; ++k) {
    along[k] /= along_sum;
    height[k] = 1.0 / nodes + x * place(k) / squares;
    slope[k] = place(k) / squares;
    height[k] += read.bend_share * bend(x) * bend(place(k)) / bend_squares;
    slope[k] += read.bend_share * 2.0 * x * bend(place(k)) / bend_squares;
    slope[k] /= width_mm / 2;
  }
  // The squared exponential is a product of both directions. It is the smoothest of the usual models, and so the one
  // that bends and tilts faces most for a given scatter.
  const auto alike = [&](double half_mm) {
    Weights by_steps{};
    for (std::size_t k = 0; k < nodes; ++k)
      by_steps[k] =
          std::exp(-0.5 * std::pow(2.0 * static_cast<double>(k) / nodes * half_mm / noise.correlation_length_mm, 2));
    return by_steps;
  };
  const auto shared = [](const Weights& w, const Weights& by_steps) {
    double sum = 0;
    for (std::size_t i = 0; i < nodes; ++i)
      for (std::size_t j = 0; j < nodes; ++j) sum += w[i] * w[j] * by_steps[i > j ? i - j : j - i];
    return sum;
  };
  const Weights across = alike(width_mm / 2);
  const double along_share =
      noise.correlated_sigma_mm * noise.correlated_sigma_mm * shared(along, alike(half_window_mm));
  variance.of_height = along_share * shared(height, across);
  variance.of_slope = along_share * shared(slope, across);
  return variance;
}

}  // namespace rimwright
