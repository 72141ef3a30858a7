#include "judge/wave_place.h"

#include <algorithm>
#include <cmath>
#include <numbers>

namespace rimwright {
namespace {

// Gaussian of cutoff lc as a local straight-line fit: equal to the filter inside, honest at the ends.
std::vector<double> smoothed(const std::vector<double>& s, const std::vector<double>& v, double cutoff_mm) {
  constexpr double alpha = 0.4697186393498257;  // sqrt(ln 2 / pi), ISO 16610-21
  std::vector<double> out(v.size());
  std::size_t first = 0;
  for (std::size_t i = 0; i < v.size(); ++i) {
    while (s[i] - s[first] > cutoff_mm) ++first;
    double w0 = 0, w1 = 0, w2 = 0, v0 = 0, v1 = 0;
    for (std::size_t j = first; j < v.size() && s[j] - s[i] <= cutoff_mm; ++j) {
      const double x = s[j] - s[i];
      const double w = std::exp(-std::numbers::pi * std::pow(x / (alpha * cutoff_mm), 2));
      w0 += w, w1 += w * x, w2 += w * x * x, v0 += w * v[j], v1 += w * x * v[j];
    }
    const double determinant = w0 * w2 - w1 * w1;
    out[i] = determinant > 1e-12 * w0 * w0 ? (w2 * v0 - w1 * v1) / determinant : v0 / w0;
  }
  return out;
}

}  // namespace

WavePlace find_wave(const std::vector<double>& stations_mm, const std::vector<double>& values, const BandLimit& limit) {
  WavePlace place;
  constexpr std::size_t fewest = 8;
  if (values.size() < fewest || values.size() != stations_mm.size() || !(limit.band.longest_mm > 0)) return place;
  const std::vector<double> slow = smoothed(stations_mm, values, limit.band.longest_mm);
  std::vector<double> wave(values.size());
  for (std::size_t i = 0; i < values.size(); ++i) wave[i] = values[i] - slow[i];
  if (limit.band.shortest_mm > 0) wave = smoothed(stations_mm, wave, limit.band.shortest_mm);
  const auto crest = std::max_element(wave.begin(), wave.end()), trough = std::min_element(wave.begin(), wave.end());
  place.crest_mm = stations_mm[static_cast<std::size_t>(crest - wave.begin())];
  place.trough_mm = stations_mm[static_cast<std::size_t>(trough - wave.begin())];
  for (std::size_t i = 0; i < wave.size(); ++i) {
    if (std::abs(wave[i]) <= limit.limit_mm / 2) continue;
    if (!place.found) place.from_mm = stations_mm[i];
    place.to_mm = stations_mm[i];
    place.found = true;
  }
  // A wave is at least what lies between its highest and its lowest place, when these belong to one wave.
  if (place.found && std::abs(place.crest_mm - place.trough_mm) <= limit.band.longest_mm) {
    place.from_mm = std::min({place.from_mm, place.crest_mm, place.trough_mm});
    place.to_mm = std::max({place.to_mm, place.crest_mm, place.trough_mm});
  }
  return place;
}

}  // namespace rimwright
