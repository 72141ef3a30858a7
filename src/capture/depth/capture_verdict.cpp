#include "capture/depth/capture_verdict.h"

#include <algorithm>
#include <cmath>
#include <cstdio>

namespace rimwright {

namespace {

template <class... Numbers>
std::string sentence(const char* format, Numbers... numbers) {
  char text[400];
  std::snprintf(text, sizeof text, format, numbers...);
  return text;
}

struct FaceSeen {
  std::size_t cells = 0, steep = 0;
  double best_deg = 0.0;  // median over the face's cells of the squarest view
};

FaceSeen seen(const DepthRimZone& zone, ZoneFace face, double steep_deg) {
  FaceSeen result;
  std::vector<double> best;
  for (const ZoneCell& cell : zone.cells()) {
    if (!cell.near_rim || cell.face != face) continue;
    ++result.cells;
    best.push_back(degrees_from_radians(cell.best_incidence_rad));
    if (best.back() > steep_deg) ++result.steep;
  }
  if (!best.empty()) {
    const auto half = best.begin() + static_cast<std::ptrdiff_t>(best.size() / 2);
    std::nth_element(best.begin(), half, best.end());
    result.best_deg = *half;
  }
  return result;
}

// How many images saw the places near the rim.
struct Coverage {
  std::size_t cells = 0, few = 0, median_frames = 0;
  [[nodiscard]] double few_share() const {
    return cells > 0 ? static_cast<double>(few) / static_cast<double>(cells) : 0.0;
  }
};

Coverage covered(const DepthRimZone& zone, std::size_t few_frames) {
  Coverage result;
  std::vector<std::size_t> frames;
  for (const ZoneCell& cell : zone.cells()) {
    if (!cell.near_rim) continue;
    frames.push_back(cell.frames);
    if (cell.frames < few_frames) ++result.few;
  }
  result.cells = frames.size();
  if (!frames.empty()) {
    const auto half = frames.begin() + static_cast<std::ptrdiff_t>(frames.size() / 2);
    std::nth_element(frames.begin(), half, frames.end());
    result.median_frames = *half;
  }
  return result;
}

}  // namespace

std::vector<std::string> capture_verdict(const DepthCapture& capture, const Alignment& alignment,
                                         const DepthNoise& noise, const DepthRimZone& zone, const TargetScale& scale,
                                         const VerdictSettings& settings) {
  std::vector<std::string> notes = capture.notes;
  const std::size_t frames = capture.frames.size() - alignment.frames_left_out;
  notes.push_back(sentence(
      "%zu depth images were aligned on one another in %zu rounds; drift of up to %.2f mm was found and removed.",
      frames, alignment.joint_steps, alignment.drift_mm));
  notes.push_back(sentence("The camera's noise is %.2f mm at %.0f mm, square on, and %.1f times that at 65 degrees%s.",
                           noise.sigma_mm, noise.range_mm,
                           noise.sigma_z_mm(noise.range_mm, radians_from_degrees(65.0)) / noise.sigma_mm,
                           noise.range_power_fitted ? "" : " (its growth with range could not be seen)"));
  notes.push_back(sentence("Single images are warped by about %.3f mm beyond that noise.", alignment.bias_mm));
  if (scale.images > 0) {
    notes.push_back(
        sentence("The printed target was seen in %zu images: the depth camera reads lengths %.2f %% too %s, "
                 "which was put right, with a standard uncertainty of %.2f %%.",
                 scale.images, 100.0 * std::abs(1.0 / scale.factor - 1.0), scale.factor < 1.0 ? "long" : "short",
                 100.0 * scale.relative_u));
  } else {
    notes.emplace_back(
        "Nothing of known size was used: the scale is the depth camera's own; lay the printed target beside the rim, "
        "or check a length with callipers.");
    if (!scale.note.empty()) notes.push_back(scale.note);
  }
  if (alignment.frames_left_out > 0) {
    notes.push_back(sentence("%zu depth images could not be laid on the others: move the camera more slowly.",
                             alignment.frames_left_out));
  }
  notes.insert(notes.end(), alignment.notes.begin(), alignment.notes.end());

  const FaceSeen side = seen(zone, ZoneFace::upright, settings.steep_deg);
  if (static_cast<double>(side.steep) > settings.steep_share * static_cast<double>(side.cells)) {
    notes.push_back(
        sentence("The side below the rim was seen at more than %.0f degrees over %.0f %% of its area: hold "
                 "the camera lower.",
                 settings.steep_deg, 100.0 * static_cast<double>(side.steep) / static_cast<double>(side.cells)));
  }
  const FaceSeen top = seen(zone, ZoneFace::level, settings.steep_deg);
  if (static_cast<double>(top.steep) > settings.steep_share * static_cast<double>(top.cells)) {
    notes.push_back(
        sentence("The top beside the rim was seen at more than %.0f degrees over %.0f %% of its area: hold "
                 "the camera higher.",
                 settings.steep_deg, 100.0 * static_cast<double>(top.steep) / static_cast<double>(top.cells)));
  }
  const Coverage coverage = covered(zone, settings.few_frames);
  if (coverage.cells > 0) {
    notes.push_back(
        sentence("Half of the places near the rim were seen in %zu images or more, %.0f %% in at least %zu.",
                 coverage.median_frames, 100.0 * (1.0 - coverage.few_share()), settings.few_frames));
  }
  if (coverage.few_share() > settings.few_share) {
    notes.push_back(
        sentence("%.0f %% of the places near the rim were seen in fewer than %zu images: go along the rim "
                 "more slowly.",
                 100.0 * coverage.few_share(), settings.few_frames));
  }
  if (noise.range_mm > settings.farthest_good_mm) {
    notes.push_back(
        sentence("The camera was held %.0f mm away: hold it at about 300 mm, if it can see so near.", noise.range_mm));
  }
  return notes;
}

}  // namespace rimwright
