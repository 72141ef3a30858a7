#include "measure/face_spans.h"

#include <algorithm>
#include <cmath>
#include <utility>

#include "measure/profile_frame.h"

namespace rimwright {

namespace {

// The piece's line as y = a + b t in the face's frame.
std::pair<double, double> line_in_frame(const FaceFits& face, const Piece& piece) {
  const Vector2 p = out_up_from_profile(piece.middle_along_mm, piece.middle_height_mm);
  const Vector2 d = out_up_from_profile(1.0, piece.slope);
  const double b = d.dot(face.normal) / d.dot(face.along);
  return {p.dot(face.normal) - b * p.dot(face.along), b};
}

void apply_margins(FaceSpan& span, const FaceFits& face, FacePart part, double noise_mm, const FitSettings& settings) {
  const double scale = along_per_t(face);
  const FaceName name = face.track->name;
  const bool is_face = name == FaceName::side || name == FaceName::top || name == FaceName::bevel;
  const double wanted =
      (is_face ? settings.face_margin_mm : settings.edge_margin_mm) + settings.noise_in_margin * noise_mm;
  const double margin = std::min(wanted * scale, 0.3 * (span.to_along_mm - span.from_along_mm));
  if (name == FaceName::side)
    span.from_along_mm = std::max(span.from_along_mm, span.to_along_mm - settings.side_depth_mm * scale);
  if (name == FaceName::top)
    span.to_along_mm = std::min(span.to_along_mm, span.from_along_mm + settings.top_depth_mm * scale);
  span.margin_mm = margin / scale;
  span.from_along_mm += margin;
  span.to_along_mm -= margin;
  const bool is_short = part == FacePart::lower_short || part == FacePart::upper_short;
  const double strip_mm = is_short ? settings.short_strip_mm : settings.edge_strip_mm;
  if (part == FacePart::lower_strip || part == FacePart::lower_short)
    span.to_along_mm = std::min(span.to_along_mm, span.from_along_mm + strip_mm * scale);
  if (part == FacePart::upper_strip || part == FacePart::upper_short)
    span.from_along_mm = std::max(span.from_along_mm, span.to_along_mm - strip_mm * scale);
}

}  // namespace

std::vector<Piece> clear_of_jumps(const FaceTrack& track, double noise_mm) {
  constexpr double jump_of_exact_mm = 0.5, jump_noises = 5.0;  // beyond what bins and noise move an end by
  const double jump_mm = jump_of_exact_mm + jump_noises * noise_mm;
  const auto sections = static_cast<std::ptrdiff_t>(track.piece.size());
  const auto piece = [&](std::ptrdiff_t k) -> const Piece& { return track.piece[static_cast<std::size_t>(k)]; };
  const auto is_seen = [&](std::ptrdiff_t k) {
    return k >= 0 && k < sections && track.present[static_cast<std::size_t>(k)];
  };
  std::vector<Piece> clear = track.piece;
  // `inwards`: 1 for the end of less `along`, -1 for the other.
  const auto shorten = [&](std::ptrdiff_t k, std::ptrdiff_t next, double Piece::*end_mm, double inwards) {
    const double here = inwards * (piece(k).*end_mm), at_next = inwards * (piece(next).*end_mm);
    // How the end moves beyond the two, or where nothing is seen there, on this side.
    const std::ptrdiff_t after = 2 * next - k, before = 2 * k - next;
    const double moves = is_seen(after)    ? std::abs(inwards * (piece(after).*end_mm) - at_next)
                         : is_seen(before) ? std::abs(inwards * (piece(before).*end_mm) - here)
                                           : 0.0;
    if (at_next - here <= jump_mm + moves) return;
    double& end = clear[static_cast<std::size_t>(k)].*end_mm;
    end = inwards * std::max(inwards * end, at_next - moves);
  };
  for (std::ptrdiff_t k = 0; k < sections; ++k)
    for (const std::ptrdiff_t next : {k - 1, k + 1}) {
      if (!is_seen(k) || !is_seen(next)) continue;
      shorten(k, next, &Piece::from_along_mm, 1.0);
      shorten(k, next, &Piece::to_along_mm, -1.0);
    }
  return clear;
}

double along_per_t(const FaceFits& face) { return std::abs(profile_along(face.along.x(), face.along.y())); }

std::vector<FaceSpan> spans_of_track(const FaceTracks& tracks, const FaceFits& face, FacePart part,
                                     std::size_t stations, double noise_mm, const FitSettings& settings) {
  const FaceTrack& track = *face.track;
  const bool is_ledge = track.name == FaceName::floor || track.name == FaceName::wall;
  const std::vector<Piece> piece = clear_of_jumps(track, noise_mm);
  std::vector<FaceSpan> spans(stations);
  for (std::size_t i = 0; i < stations; ++i) {
    const double s = (static_cast<double>(i) + 0.5) * settings.station_step_mm;
    const auto after = static_cast<std::size_t>(
        std::lower_bound(tracks.station_mm.begin(), tracks.station_mm.end(), s) - tracks.station_mm.begin());
    const std::size_t last = tracks.station_mm.size() - 1;
    std::size_t k1 = std::min(after, last), k0 = after == 0 ? 0 : after - 1;
    if (!track.present[k0] && !track.present[k1]) continue;
    // At the end of a stretch its last two sections speak for half a step beyond it, since in a run-out faces move on.
    if (!track.present[k0] || !track.present[k1]) {
      const std::size_t seen = track.present[k0] ? k0 : k1;
      if (std::abs(tracks.station_mm[seen] - s) > 0.5 * (tracks.station_mm[k1] - tracks.station_mm[k0]) + 1e-9)
        continue;
      const bool ends = seen == k0;
      k0 = ends && seen > 0 && track.present[seen - 1] ? seen - 1 : seen;
      k1 = !ends && seen < last && track.present[seen + 1] ? seen + 1 : seen;
    }
    const double gap = tracks.station_mm[k1] - tracks.station_mm[k0];
    const double share = gap > 0 ? (s - tracks.station_mm[k0]) / gap : 0.0;
    const auto [a0, b0] = line_in_frame(face, track.piece[k0]);
    const auto [a1, b1] = line_in_frame(face, track.piece[k1]);
    FaceSpan& span = spans[i];
    span.present = true;
    span.a_mm = (1 - share) * a0 + share * a1;
    span.b = (1 - share) * b0 + share * b1;
    span.shift_along = gap > 0 ? (a1 - a0) / gap : 0.0;
    span.from_along_mm = (1 - share) * piece[k0].from_along_mm + share * piece[k1].from_along_mm;
    span.to_along_mm = (1 - share) * piece[k0].to_along_mm + share * piece[k1].to_along_mm;
    span.gate_mm = is_ledge ? std::max(0.3, 4.0 * noise_mm) : std::max(0.4, 6.0 * noise_mm);
    apply_margins(span, face, part, noise_mm, settings);
  }
  steady_ends(spans, noise_mm, settings);
  return spans;
}

void steady_ends(std::vector<FaceSpan>& spans, double noise_mm, const FitSettings& settings) {
  const double share = (noise_mm - settings.noise_of_first_say_mm) /
                       std::max(1e-9, settings.noise_of_longest_say_mm - settings.noise_of_first_say_mm);
  const double reach_mm = settings.longest_say_mm * std::clamp(share, 0.0, 1.0);
  const auto reach = static_cast<std::size_t>(std::lround(reach_mm / settings.station_step_mm));
  if (reach == 0) return;
  const std::vector<FaceSpan> before = spans;
  std::vector<double> from, to;
  for (std::size_t i = 0; i < spans.size(); ++i) {
    if (!spans[i].present) continue;
    from.clear(), to.clear();
    for (std::size_t j = i >= reach ? i - reach : 0; j <= std::min(spans.size() - 1, i + reach); ++j)
      if (before[j].present) from.push_back(before[j].from_along_mm), to.push_back(before[j].to_along_mm);
    const auto shorter = static_cast<std::ptrdiff_t>(settings.share_of_shorter * static_cast<double>(from.size()));
    std::nth_element(from.begin(), from.end() - 1 - shorter, from.end());
    std::nth_element(to.begin(), to.begin() + shorter, to.end());
    spans[i].from_along_mm = std::max(spans[i].from_along_mm, *(from.end() - 1 - shorter));
    spans[i].to_along_mm = std::min(spans[i].to_along_mm, to[static_cast<std::size_t>(shorter)]);
    spans[i].present = spans[i].to_along_mm > spans[i].from_along_mm;
  }
}

}  // namespace rimwright
