// How high the waves of a profile stand within a band of wavelengths: peak to valley, and how sure that is.
#pragma once

#include <cstddef>
#include <optional>
#include <utility>
#include <vector>

#include "core/measured.h"

namespace rimwright {

struct WaveBand {
  double shortest_mm = 0.0, longest_mm = 0.0;
};

// What the profile's samples are: standard uncertainties within the band, and the fits behind them.
struct ProfileSamples {
  double white_u_mm = 0.0;   // what the band's filter leaves of independent noise
  double shared_u_mm = 0.0;  // error shared by neighbours, which the filter does not thin
  // Each sample's own, from a face's form where it is not seen; counts where waves peak. As long as the profile, or
  // empty.
  std::vector<double> form_u_mm;
  double window_mm = 0.0;  // half length along the rim of the parabola each sample was read from
  // First and last sample of what is asked about, where that may be more than what is seen; they may lie outside the
  // profile.
  std::optional<std::pair<std::ptrdiff_t, std::ptrdiff_t>> asked;
};

// Peak to valley of the band (ISO 16610-21 filters at both ends of it), a slow drift taken out, less,
// in squares, what noise alone would show. A profile of a stretch says nothing for sure of what lies beyond its ends,
// and within half the longest wavelength of them the band depends on it: it goes on as its own waves do
// (continue_profile), and how far they might go on otherwise is part of the uncertainty; so is how much higher they
// might stand where they are not seen, in gaps and between the ends of the profile and those of what is asked about.
// (What is stated holds in 93 % of cases with a fifth unseen, in 90 % with a quarter.) A parabola over a window
// flattens short waves: what a second such parabola would take from them is a standard uncertainty as well. NaN samples
// are not seen.
[[nodiscard]] Measured height_in_band(const std::vector<double>& profile, double step_mm, const WaveBand& band,
                                      const ProfileSamples& samples);

// Share of the variance of noise that is independent every apart_mm which a Gaussian of cutoff lc_mm lets through.
[[nodiscard]] double noise_share(double apart_mm, double lc_mm);

}  // namespace rimwright
