#include "measure/bevel_movement.h"

#include <algorithm>
#include <cmath>

#include "core/median.h"
#include "measure/bevel_course.h"
#include "measure/profile_frame.h"

namespace rimwright {

namespace {

constexpr double slowest = 0.05;        // mm a mm: slower, a slab of some millimetres is sharp as it is
constexpr double off_course_mm = 0.15;  // a section that lies farther off does not count

std::vector<SlopingPiece> sloping_pieces(const std::vector<SectionPieces>& sections, const ExpectedBevel& expected,
                                         double lean_rad) {
  constexpr double most_off_rad = 0.2, shortest_mm = 1.0;
  std::vector<SlopingPiece> all;
  for (std::size_t i = 0; i < sections.size(); ++i)
    for (std::size_t k = 0; k < sections[i].pieces.size(); ++k) {
      const SlopingPiece piece = sloping_piece(sections, i, k);
      const double angle = std::numbers::pi / 4 - std::atan(piece.slope) - lean_rad;
      if (sections[i].pieces[k].lie == Lie::sloping && piece.length_mm >= shortest_mm &&
          std::abs(angle - (std::numbers::pi - expected.angle_rad)) <= most_off_rad)
        all.push_back(piece);
    }
  return all;
}

// Deepest of the channels that follow the rim, which a bevel as deep has cut away.
double deepest_at_the_rim_mm(const Expected& expected) {
  double deepest = 0.0;
  for (const auto& channel : expected.channels)
    if (channel.corner == ExpectedCorner::top_side)
      for (const auto& step : channel.steps) deepest = std::max(deepest, step.depth_mm);
  return deepest;
}

std::optional<BevelMovement> movement_at(double station_mm, const std::vector<SlopingPiece>& pieces, double slope,
                                         double shallow_mm) {
  const std::vector<SeenPiece> on = most_on_a_course(seen_from(station_mm, pieces, slope), off_course_mm);
  if (on.empty()) return {};
  const BevelCourse course = course_through(on);
  if (std::abs(course.speed) < slowest) return {};
  std::vector<double> middles;
  for (const SeenPiece& piece : on) middles.push_back(piece.piece->middle_along_mm);
  const double middle_mm = median_of(middles), square = std::sqrt(1.0 + slope * slope);
  const BevelMovement movement{middle_mm, Vector2(1.0 + slope, 1.0 - slope) / (std::numbers::sqrt2 * square),
                               course.speed, course.growth_per_mm};
  // Where the bevel meets the side, at out = 0.
  const Vector2 middle = out_up_from_profile(middle_mm, course.offset_mm * square + slope * middle_mm);
  const double drop_mm = -movement.normal.dot(middle) / movement.normal.y();
  if (movement.normal.minCoeff() < 0.1 || drop_mm < shallow_mm) return {};
  return movement;
}

}  // namespace

Vector2 BevelMovement::moved_back(const Vector2& out_up_mm, double ds_mm) const {
  const double shift_mm = speed * ds_mm + 0.5 * speed_growth_per_mm * ds_mm * ds_mm;
  if (profile_along(out_up_mm.x(), out_up_mm.y()) > middle_along_mm)
    return {out_up_mm.x() - shift_mm / normal.x(), out_up_mm.y()};
  return {out_up_mm.x(), out_up_mm.y() - shift_mm / normal.y()};
}

std::vector<std::optional<BevelMovement>> bevel_movement(const std::vector<SectionPieces>& sections,
                                                         const Expected& expected, double lean_rad, Workers& workers) {
  std::vector<std::optional<BevelMovement>> movements(sections.size());
  if (!expected.bevel) return movements;
  const double shallow_mm = deepest_at_the_rim_mm(expected);
  const std::vector<SlopingPiece> pieces = sloping_pieces(sections, *expected.bevel, lean_rad);
  const double slope = common_slope(pieces);
  workers.for_chunks(sections.size(), 8, [&](std::size_t begin, std::size_t end, std::size_t) {
    for (std::size_t i = begin; i < end; ++i)
      movements[i] = movement_at(sections[i].station_mm, pieces, slope, shallow_mm);
  });
  return movements;
}

double farthest_apart_mm(const BevelMovement& one, const BevelMovement& other, double reach_mm) {
  // Along out by the shift over normal.x(), along up by that over normal.y().
  const auto apart = [&](double one_normal, double other_normal) {
    return std::abs(one.speed / one_normal - other.speed / other_normal) * reach_mm +
           0.5 * std::abs(one.speed_growth_per_mm / one_normal - other.speed_growth_per_mm / other_normal) * reach_mm *
               reach_mm;
  };
  return std::max(apart(one.normal.x(), other.normal.x()), apart(one.normal.y(), other.normal.y()));
}

std::vector<BevelMovement> carried_on(const std::vector<std::optional<BevelMovement>>& movements, std::size_t section,
                                      double step_mm, double alike) {
  std::vector<BevelMovement> carried;
  const double own_speed = movements[section] ? movements[section]->speed : 0.0;
  const auto carry = [&](const std::optional<BevelMovement>& from, double ds_mm) {
    if (!from) return;
    BevelMovement here = *from;
    here.speed += here.speed_growth_per_mm * ds_mm;
    if (std::abs(here.speed - own_speed) > alike) carried.push_back(here);
  };
  if (section > 0) carry(movements[section - 1], step_mm);
  if (section + 1 < movements.size()) carry(movements[section + 1], -step_mm);
  return carried;
}

}  // namespace rimwright
