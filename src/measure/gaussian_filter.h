// Profile filters of ISO 16610: the linear Gaussian (part 21) in its regression form, so that ends stay honest, and
// the band between two cutoffs.
#pragma once

#include <vector>

namespace rimwright {

// Mean line of a profile sampled every step_mm, cutoff wavelength lc_mm. Weights are those of ISO 16610-21,
// s(x) = exp(-pi (x / (alpha lc))^2) / (alpha lc), alpha = sqrt(ln 2 / pi) = 0.4697, cut at one cutoff length each way.
// order 0 is the filter of part 21, renormalised at the ends; order 2 fits a local parabola with the same weights
// (ISO 16610-31 without robustness), which keeps ends and slow curvature free of bias at the price of a higher cutoff.
// NaN samples are left out; the result is NaN where less than a quarter of the weight is seen.
[[nodiscard]] std::vector<double> gaussian_mean_line(const std::vector<double>& profile, double step_mm, double lc_mm,
                                                     int order);

// The band of wavelengths between the two: mean line at shortest_mm minus mean line at longest_mm, 50 % at each.
[[nodiscard]] std::vector<double> wavelength_band(const std::vector<double>& profile, double step_mm,
                                                  double shortest_mm, double longest_mm);

struct PeakToValley {
  double height = 0.0;
  std::size_t peak = 0, valley = 0;  // indices
};
// Over the finite samples; height 0 where there are fewer than two.
[[nodiscard]] PeakToValley peak_to_valley(const std::vector<double>& profile);

}  // namespace rimwright
