#include "measure/doubt_fits.h"

#include <algorithm>
#include <cmath>

namespace rimwright {

namespace {

double median_of(std::vector<double> values) {
  const auto middle = values.begin() + static_cast<std::ptrdiff_t>(values.size() / 2);
  std::nth_element(values.begin(), middle, values.end());
  return *middle;
}

// Takes back fits whose points scatter more than the face's own median allows.
void doubt_scatter(FaceFits& face, const DoubtSettings& settings) {
  std::vector<double> noise;
  for (const FaceFit& fit : face.at)
    if (fit.measured) noise.push_back(fit.noise_mm);
  if (noise.size() < 8) return;
  const double usual = median_of(noise);
  for (FaceFit& fit : face.at) {
    if (!fit.measured) continue;
    const double believable =
        usual * (1.0 + settings.scatter_sigmas / std::sqrt(2.0 * fit.degrees_of_freedom)) + settings.scatter_form_mm;
    if (fit.noise_mm > believable) fit.measured = false;
  }
}

// Takes back fits that lie at another angle than their neighbours, beyond what their own uncertainty explains.
void doubt_jumps(FaceFits& face, double step_mm, const DoubtSettings& settings) {
  const auto reach = static_cast<std::size_t>(std::lround(settings.neighbours_mm / step_mm));
  std::vector<char> doubted(face.at.size(), 0);
  for (std::size_t i = 0; i < face.at.size(); ++i) {
    if (!face.at[i].measured) continue;
    std::vector<double> slopes;
    for (std::size_t j = i >= reach ? i - reach : 0; j <= std::min(face.at.size() - 1, i + reach); ++j)
      if (face.at[j].measured) slopes.push_back(face.at[j].b);
    const double jump = std::abs(face.at[i].b - median_of(slopes));
    doubted[i] =
        jump > std::tan(radians_from_degrees(settings.jump_deg)) && jump > 3.0 * std::sqrt(face.at[i].variance_b);
  }
  for (std::size_t i = 0; i < face.at.size(); ++i)
    if (doubted[i]) face.at[i].measured = false;
}

// Stations beside a stretch where a reference face is missing.
std::vector<char> beside_unseen(const FaceFits& face, double step_mm, const DoubtSettings& settings) {
  const std::size_t n = face.at.size();
  const auto longest = static_cast<std::size_t>(std::lround(settings.unseen_mm / step_mm));
  const auto beside = static_cast<std::size_t>(std::lround(settings.beside_unseen_mm / step_mm));
  std::vector<char> near(n, 0);
  for (std::size_t i = 0; i < n;) {
    if (face.at[i].measured) {
      ++i;
      continue;
    }
    std::size_t end = i;
    while (end < n && !face.at[end].measured) ++end;
    const bool at_scan_end = i == 0 || end == n;
    if (end - i >= longest && !at_scan_end)
      std::fill(near.begin() + static_cast<std::ptrdiff_t>(i >= beside ? i - beside : 0),
                near.begin() + static_cast<std::ptrdiff_t>(std::min(n, end + beside)), char{1});
    i = end;
  }
  return near;
}

}  // namespace

void doubt_fits(FittedRim& fitted, const DoubtSettings& settings) {
  const double step_mm = fitted.station_mm.size() > 1 ? fitted.station_mm[1] - fitted.station_mm[0] : 1.0;
  const auto side = beside_unseen(*fitted.find(FaceName::side), step_mm, settings);
  const auto top = beside_unseen(*fitted.find(FaceName::top), step_mm, settings);
  const auto take_back_beside = [&](FaceFits& face) {
    for (std::size_t i = 0; i < face.at.size(); ++i)
      if (side[i] || top[i]) face.at[i].measured = false;
  };
  for (FaceFits& face : fitted.faces) {
    const FaceName name = face.track->name;
    if (name == FaceName::floor || name == FaceName::wall) doubt_scatter(face, settings);
    if (name == FaceName::bevel) doubt_jumps(face, step_mm, settings);
    take_back_beside(face);
  }
}

}  // namespace rimwright
