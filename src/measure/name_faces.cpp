#include "measure/name_faces.h"

#include <algorithm>
#include <cmath>
#include <numbers>
#include <optional>

#include "measure/bevel_course.h"
#include "measure/match_ledges.h"
#include "measure/profile_frame.h"

namespace rimwright {

namespace {

double length_along(const Piece& piece) { return piece.to_along_mm - piece.from_along_mm; }

// Length on the face itself, mm.
double face_length(const Piece& piece) { return length_along(piece) * std::sqrt(1.0 + piece.slope * piece.slope); }

Vector2 place(const Piece& piece, double along_mm) { return out_up_from_profile(along_mm, piece.height_at(along_mm)); }

// A section's faces by index into its pieces.
struct NamedSection {
  bool is_clear = false;  // of clutter
  std::optional<std::size_t> side, top, bevel;
  std::vector<std::vector<FloorAndWall>> channels;
};

std::optional<std::size_t> find_side(const SectionPieces& section, double noise_mm, double lean_rad,
                                     const NameSettings& settings) {
  std::optional<std::size_t> best;
  double best_length = settings.shortest_side_mm;
  for (std::size_t i = 0; i < section.pieces.size(); ++i) {
    const Piece& piece = section.pieces[i];
    if (piece.lie != Lie::upright) continue;
    const Vector2 middle = place(piece, piece.middle_along_mm);
    if (std::abs(middle.x() + middle.y() * std::tan(lean_rad)) > settings.side_within_mm + 2.0 * noise_mm) continue;
    if (face_length(piece) > best_length) {
      best_length = face_length(piece);
      best = i;
    }
  }
  return best;
}

std::optional<std::size_t> find_top(const SectionPieces& section, const UnrolledRim& rim,
                                    const NameSettings& settings) {
  std::optional<std::size_t> best;
  double best_length = settings.shortest_top_mm;
  const Vector2 corner = rim.curve.point(section.station_mm), out = rim.curve.out(section.station_mm);
  const double rim_height = rim.rim_height_mm(section.station_mm);
  for (std::size_t i = 0; i < section.pieces.size(); ++i) {
    const Piece& piece = section.pieces[i];
    if (piece.lie != Lie::level) continue;
    const Vector2 middle = place(piece, piece.middle_along_mm);
    const Vector2 plan = corner + middle.x() * out;
    if (std::abs(middle.y() - (rim.top.height_mm(plan.x(), plan.y()) - rim_height)) > settings.top_within_mm) continue;
    if (face_length(piece) > best_length) {
      best_length = face_length(piece);
      best = i;
    }
  }
  return best;
}

// What may be the bevel of a section whose side and top are known.
std::vector<std::size_t> bevel_candidates(const SectionPieces& section, const NamedSection& named, double noise_mm,
                                          double lean_rad, const ExpectedBevel& expected,
                                          const NameSettings& settings) {
  std::vector<std::size_t> candidates;
  for (std::size_t i = 0; i < section.pieces.size(); ++i) {
    if (section.pieces[i].lie != Lie::sloping) continue;
    if ((named.side && i < *named.side) || (named.top && i > *named.top)) continue;
    const Piece& piece = section.pieces[i];
    const double angle = std::numbers::pi / 4 - std::atan(piece.slope) - lean_rad;  // from the side's upward direction
    const double off = std::abs(angle - (std::numbers::pi - expected.angle_rad));
    if (off > radians_from_degrees(settings.bevel_within_deg)) continue;
    // The rim corner lies near the origin of the profile frame.
    const double cut = -piece.height_at(0.0) / std::sqrt(1.0 + piece.slope * piece.slope);
    if (cut < settings.shallowest_cut_sigmas * noise_mm) continue;
    if (face_length(piece) > settings.shortest_bevel_mm) candidates.push_back(i);
  }
  return candidates;
}

// Of each section's candidates the longest that neighbouring sections bear out; none where they could and do not: the
// blend of a ledge's floor and wall passes for a bevel beyond the end of a run-out, and would bend the last of it.
void name_bevels(std::vector<NamedSection>& named, const std::vector<SectionPieces>& sections, double noise_mm,
                 double lean_rad, const ExpectedBevel& expected, const NameSettings& settings) {
  std::vector<SlopingPiece> pieces;
  for (std::size_t i = 0; i < sections.size(); ++i) {
    if (!named[i].is_clear) continue;
    for (const std::size_t piece : bevel_candidates(sections[i], named[i], noise_mm, lean_rad, expected, settings))
      pieces.push_back(sloping_piece(sections, i, piece));
  }
  const double slope = common_slope(pieces), off_course_mm = settings.bevel_off_course_mm + noise_mm;
  const auto could_bear_out = [&](std::size_t section) {
    std::size_t seen = 0;
    for (std::size_t i = 0; i < sections.size(); ++i)
      if (std::abs(sections[i].station_mm - sections[section].station_mm) <= course_reach_mm && named[i].side &&
          named[i].top)
        ++seen;
    return seen >= fewest_sections_a_course;
  };
  std::vector<double> longest_mm(sections.size(), 0.0);
  for (const SlopingPiece& piece : pieces) {
    const std::vector<SeenPiece> around = seen_from(piece.station_mm, pieces, slope);
    if (could_bear_out(piece.section) && most_on_a_course(around, off_course_mm, &piece).empty()) continue;
    const double length_mm = face_length(sections[piece.section].pieces[piece.piece]);
    if (length_mm <= longest_mm[piece.section]) continue;
    longest_mm[piece.section] = length_mm;
    named[piece.section].bevel = piece.piece;
  }
}

std::vector<NamedSection> name_sections(const std::vector<SectionPieces>& sections, const UnrolledRim& rim,
                                        double noise_mm, double lean_rad, const Expected& expected,
                                        const NameSettings& settings) {
  std::vector<NamedSection> named(sections.size());
  for (std::size_t i = 0; i < sections.size(); ++i) {
    named[i].is_clear = sections[i].pieces.size() <= settings.most_pieces;
    if (!named[i].is_clear) continue;
    named[i].side = find_side(sections[i], noise_mm, lean_rad, settings);
    named[i].top = find_top(sections[i], rim, settings);
  }
  if (expected.bevel) name_bevels(named, sections, noise_mm, lean_rad, *expected.bevel, settings);
  for (std::size_t i = 0; i < sections.size(); ++i) {
    named[i].channels.resize(expected.channels.size());
    if (named[i].is_clear)
      named[i].channels =
          match_ledges(sections[i], {named[i].side, named[i].top, named[i].bevel}, expected.channels, settings);
  }
  return named;
}

// The bevel without what a planned channel takes of it, counted from where the neighbouring face ends: in a noisy scan
// a ledge of few noise widths blurs into the piece beside it, and would bend the face.
Piece clear_of_blurred_channels(Piece bevel, const SectionPieces& section, const NamedSection& named, double noise_mm,
                                const Expected& expected, const NameSettings& settings) {
  const double off_upright = std::numbers::pi - expected.bevel->angle_rad;
  for (const auto& channel : expected.channels) {
    if (channel.steps.empty()) continue;
    const double width_mm = channel.steps.back().width_mm, depth_mm = channel.steps.front().depth_mm;
    if (std::min(width_mm, depth_mm) > settings.blurred_sigmas * noise_mm) continue;
    // Across the ledge, from the end of its first face to the bevel: along that face, and square to it.
    if (channel.corner == ExpectedCorner::side_bevel && named.side)
      bevel.from_along_mm = std::max(
          bevel.from_along_mm, section.pieces[*named.side].to_along_mm +
                                   (width_mm + depth_mm / std::tan(off_upright) + depth_mm) / std::numbers::sqrt2);
    if (channel.corner == ExpectedCorner::top_bevel && named.top)
      bevel.to_along_mm = std::min(bevel.to_along_mm,
                                   section.pieces[*named.top].from_along_mm -
                                       (width_mm + depth_mm * std::tan(off_upright) + depth_mm) / std::numbers::sqrt2);
  }
  return bevel;
}

// Takes out runs that are too short to be a face, and closes single gaps between alike neighbours.
void clean_track(FaceTrack& track, std::size_t shortest_run) {
  const std::size_t n = track.present.size();
  for (std::size_t i = 1; i + 1 < n; ++i) {
    if (track.present[i] || !track.present[i - 1] || !track.present[i + 1]) continue;
    const Piece &a = track.piece[i - 1], &b = track.piece[i + 1];
    Piece& p = track.piece[i];
    p = a;
    p.from_along_mm = (a.from_along_mm + b.from_along_mm) / 2;
    p.to_along_mm = (a.to_along_mm + b.to_along_mm) / 2;
    p.middle_along_mm = (a.middle_along_mm + b.middle_along_mm) / 2;
    p.middle_height_mm = (a.middle_height_mm + b.middle_height_mm) / 2;
    p.slope = (a.slope + b.slope) / 2;
    track.present[i] = 1;
  }
  for (std::size_t i = 0; i < n;) {
    if (!track.present[i]) {
      ++i;
      continue;
    }
    std::size_t end = i;
    while (end < n && track.present[end]) ++end;
    if (end - i < shortest_run)
      std::fill(track.present.begin() + static_cast<std::ptrdiff_t>(i),
                track.present.begin() + static_cast<std::ptrdiff_t>(end), char{0});
    i = end;
  }
}

}  // namespace

FaceKind kind_of(FaceName name) {
  switch (name) {
    case FaceName::side: return FaceKind::side;
    case FaceName::top: return FaceKind::top;
    case FaceName::bevel: return FaceKind::bevel;
    case FaceName::floor: return FaceKind::floor;
    case FaceName::wall: return FaceKind::wall;
  }
  return FaceKind::side;
}

const FaceTrack* FaceTracks::find(FaceName name, std::size_t channel, std::size_t step) const {
  const bool numbered = name == FaceName::floor || name == FaceName::wall;
  for (const auto& track : tracks)
    if (track.name == name && (!numbered || (track.channel == channel && track.step == step))) return &track;
  return nullptr;
}

FaceTracks name_faces(const std::vector<SectionPieces>& sections, const UnrolledRim& rim, double noise_mm,
                      double lean_rad, const Expected& expected, const NameSettings& settings) {
  FaceTracks result;
  const auto add = [&](FaceName name, Lie lie, std::size_t channel, std::size_t step) {
    result.tracks.push_back(
        {name, channel, step, lie, std::vector<char>(sections.size(), 0), std::vector<Piece>(sections.size())});
  };
  add(FaceName::side, Lie::upright, 0, 0);
  add(FaceName::top, Lie::level, 0, 0);
  if (expected.bevel) add(FaceName::bevel, Lie::sloping, 0, 0);
  for (std::size_t c = 0; c < expected.channels.size(); ++c)
    for (std::size_t k = 0; k < expected.channels[c].steps.size(); ++k) {
      const bool from_side = expected.channels[c].corner == ExpectedCorner::side_bevel;
      add(FaceName::floor, from_side ? Lie::upright : Lie::level, c, k);
      add(FaceName::wall, from_side ? Lie::level : Lie::upright, c, k);
    }

  const std::vector<NamedSection> all_named = name_sections(sections, rim, noise_mm, lean_rad, expected, settings);
  for (std::size_t i = 0; i < sections.size(); ++i) {
    result.station_mm.push_back(sections[i].station_mm);
    const NamedSection& named = all_named[i];
    for (auto& track : result.tracks) {
      std::optional<std::size_t> piece;
      if (track.name == FaceName::side) piece = named.side;
      if (track.name == FaceName::top) piece = named.top;
      if (track.name == FaceName::bevel) piece = named.bevel;
      if (track.name == FaceName::floor || track.name == FaceName::wall) {
        const auto& steps = named.channels[track.channel];
        if (track.step < steps.size())
          piece = track.name == FaceName::floor ? steps[track.step].floor : steps[track.step].wall;
      }
      if (!piece) continue;
      track.piece[i] = sections[i].pieces[*piece];
      if (track.name == FaceName::bevel) {
        track.piece[i] = clear_of_blurred_channels(track.piece[i], sections[i], named, noise_mm, expected, settings);
        if (face_length(track.piece[i]) < settings.shortest_bevel_mm) continue;
      }
      track.present[i] = 1;
    }
  }
  const double step_mm = sections.size() > 1 ? sections[1].station_mm - sections[0].station_mm : 2.0;
  const auto shortest_run = static_cast<std::size_t>(std::lround(settings.shortest_run_mm / step_mm));
  for (auto& track : result.tracks) clean_track(track, shortest_run);
  return result;
}

}  // namespace rimwright
