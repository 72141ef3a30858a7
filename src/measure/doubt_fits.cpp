#include "measure/doubt_fits.h"

#include <algorithm>
#include <cmath>

#include "core/median.h"

namespace rimwright {

namespace {

// Takes back fits whose points scatter more than the face's own median allows: on a ledge by chance, on the large faces
// by form.
void doubt_scatter(FaceFits& face, bool is_ledge, const DoubtSettings& settings) {
  std::vector<double> noise;
  for (const FaceFit& fit : face.at)
    if (fit.measured) noise.push_back(fit.noise_mm);
  if (noise.size() < 8) return;
  const double usual = median_of(noise);
  for (FaceFit& fit : face.at) {
    if (!fit.measured) continue;
    const double by_chance = usual * (1.0 + settings.scatter_sigmas / std::sqrt(2.0 * fit.degrees_of_freedom));
    const bool is_narrow = is_ledge || std::abs(fit.to_t_mm - fit.from_t_mm) < settings.narrow_mm;
    const double believable = is_narrow ? by_chance + (is_ledge ? settings.ledge_form_mm : settings.scatter_form_mm)
                                        : usual * settings.form_sigmas + settings.form_mm;
    if (fit.noise_mm > believable) fit.measured = false;
  }
}

// Takes back fits that leave the median of their neighbours by more than `most`, beyond what their own uncertainty
// explains.
void doubt_jumps(FaceFits& face, double FaceFit::*quantity, double FaceFit::*variance, double most,
                 double most_where_narrow, double step_mm, const DoubtSettings& settings) {
  const auto reach = static_cast<std::size_t>(std::lround(settings.neighbours_mm / step_mm));
  std::vector<char> doubted(face.at.size(), 0);
  for (std::size_t i = 0; i < face.at.size(); ++i) {
    if (!face.at[i].measured) continue;
    std::vector<double> around;
    for (std::size_t j = i >= reach ? i - reach : 0; j <= std::min(face.at.size() - 1, i + reach); ++j)
      if (face.at[j].measured) around.push_back(face.at[j].*quantity);
    const double jump = std::abs(face.at[i].*quantity - median_of(around));
    const bool is_narrow = std::abs(face.at[i].to_t_mm - face.at[i].from_t_mm) < settings.narrow_mm;
    doubted[i] = jump > (is_narrow ? most_where_narrow : most) && jump > 3.0 * std::sqrt(face.at[i].*variance);
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
  for (const FaceName reference : {FaceName::side, FaceName::top})
    for (FaceFits& face : fitted.faces)
      if (face.track->name == reference) doubt_scatter(face, false, settings);
  const auto side = beside_unseen(*fitted.find(FaceName::side), step_mm, settings);
  const auto top = beside_unseen(*fitted.find(FaceName::top), step_mm, settings);
  const auto take_back_beside = [&](FaceFits& face) {
    for (std::size_t i = 0; i < face.at.size(); ++i)
      if (side[i] || top[i]) face.at[i].measured = false;
  };
  for (FaceFits* strip : {&fitted.lower_strip, &fitted.upper_strip})
    if (strip->track != nullptr) doubt_scatter(*strip, false, settings);
  for (FaceFits& face : fitted.faces) {
    const FaceName name = face.track->name;
    doubt_scatter(face, name == FaceName::floor || name == FaceName::wall, settings);
    if (name == FaceName::bevel)
      doubt_jumps(face, &FaceFit::b, &FaceFit::variance_b, std::tan(radians_from_degrees(settings.jump_deg)),
                  std::tan(radians_from_degrees(settings.narrow_jump_deg)), step_mm, settings);
    if (name == FaceName::floor)
      doubt_jumps(face, &FaceFit::a_mm, &FaceFit::variance_a, settings.jump_mm, settings.jump_mm, step_mm, settings);
    take_back_beside(face);
  }
}

}  // namespace rimwright
