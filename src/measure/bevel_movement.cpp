#include "measure/bevel_movement.h"

#include <Eigen/Dense>
#include <algorithm>
#include <cmath>

#include "core/median.h"
#include "measure/profile_frame.h"

namespace rimwright {

namespace {

constexpr double reach_mm = 9.0;        // of sections, each way: a run-out's speed changes little over that
constexpr std::size_t fewest = 5;       // sections within reach, for a speed and its growth
constexpr double slowest = 0.05;        // mm a mm: slower, a slab of some millimetres is sharp as it is
constexpr double fastest = 1.0;         // and faster no run-out is
constexpr double off_course_mm = 0.15;  // a section that lies farther off does not count

// A sloping piece near the planned angle, that may be the bevel: of a run-out's blurred sections others may, too.
struct Sloping {
  std::size_t section = 0;
  double station_mm = 0.0;
  double middle_along_mm = 0.0, height_mm = 0.0, slope = 0.0, length_mm = 0.0;
};

std::vector<Sloping> sloping_pieces(const std::vector<SectionPieces>& sections, const ExpectedBevel& expected,
                                    double lean_rad) {
  constexpr double most_off_rad = 0.2, shortest_mm = 1.0;
  std::vector<Sloping> all;
  for (std::size_t i = 0; i < sections.size(); ++i) {
    for (const Piece& piece : sections[i].pieces) {
      const double angle = std::numbers::pi / 4 - std::atan(piece.slope) - lean_rad;
      const double length_mm = piece.to_along_mm - piece.from_along_mm;
      if (piece.lie != Lie::sloping || length_mm < shortest_mm ||
          std::abs(angle - (std::numbers::pi - expected.angle_rad)) > most_off_rad)
        continue;
      all.push_back({i, sections[i].station_mm, piece.middle_along_mm, piece.middle_height_mm, piece.slope, length_mm});
    }
  }
  return all;
}

// The slope of the bevel all along the rim: the median, each piece counted by its length.
double common_slope(std::vector<Sloping> pieces) {
  std::sort(pieces.begin(), pieces.end(), [](const Sloping& a, const Sloping& b) { return a.slope < b.slope; });
  double half_mm = 0.0, so_far_mm = 0.0;
  for (const Sloping& piece : pieces) half_mm += 0.5 * piece.length_mm;
  for (const Sloping& piece : pieces) {
    so_far_mm += piece.length_mm;
    if (so_far_mm >= half_mm) return piece.slope;
  }
  return 0.0;
}

// Deepest of the channels that follow the rim, which a bevel as deep has cut away.
double deepest_at_the_rim_mm(const Expected& expected) {
  double deepest = 0.0;
  for (const auto& channel : expected.channels)
    if (channel.corner == ExpectedCorner::top_side)
      for (const auto& step : channel.steps) deepest = std::max(deepest, step.depth_mm);
  return deepest;
}

// A piece's place in a course: `x` its station from the one asked about, `y` its distance from the profile frame's
// origin square to the bevel.
struct Seen {
  Vector2 at = Vector2::Zero();
  const Sloping* piece = nullptr;
};

struct Course {
  double offset_mm = 0.0, speed = 0.0, growth = 0.0;  // at, by the station, by its square
  [[nodiscard]] double off(const Vector2& p) const {
    return std::abs(p.y() - offset_mm - speed * p.x() - 0.5 * growth * p.x() * p.x());
  }
};

Course course_through(const std::vector<Seen>& seen) {
  Matrix3 a = Matrix3::Zero();
  Vector3 b = Vector3::Zero();
  for (const Seen& piece : seen) {
    const double x = piece.at.x();
    const Vector3 row(1.0, x, 0.5 * x * x);
    a += row * row.transpose();
    b += row * piece.at.y();
  }
  const Vector3 c = a.ldlt().solve(b);
  return {c[0], c[1], c[2]};
}

// The pieces on a course, of each section the nearest. `seen` in the order of sections.
std::vector<Seen> on_course(const Course& course, const std::vector<Seen>& seen) {
  std::vector<Seen> on;
  for (const Seen& piece : seen) {
    const double off_mm = course.off(piece.at);
    if (!(off_mm < off_course_mm)) continue;
    if (on.empty() || on.back().piece->section != piece.piece->section)
      on.push_back(piece);
    else if (off_mm < course.off(on.back().at))
      on.back() = piece;
  }
  return on;
}

// Of all parabolas through three pieces the one that pieces of most sections lie on (as Fischler and Bolles, CACM 24,
// 1981, but trying all): in blurred sections ledges pass for the bevel. Empty where too few agree.
std::vector<Seen> most_on_a_course(const std::vector<Seen>& seen) {
  std::vector<Seen> most;
  for (std::size_t i = 0; i < seen.size(); ++i)
    for (std::size_t j = i + 1; j < seen.size(); ++j)
      for (std::size_t k = j + 1; k < seen.size(); ++k) {
        if (seen[i].piece->section == seen[j].piece->section || seen[j].piece->section == seen[k].piece->section)
          continue;
        const Course course = course_through({seen[i], seen[j], seen[k]});
        if (!(std::abs(course.speed) < fastest)) continue;
        std::vector<Seen> on = on_course(course, seen);
        if (on.size() > most.size()) most = std::move(on);
      }
  if (most.size() < fewest) most.clear();
  return most;
}

}  // namespace

Vector2 BevelMovement::moved_back(const Vector2& out_up_mm, double ds_mm) const {
  const double shift_mm = speed * ds_mm + 0.5 * speed_growth_per_mm * ds_mm * ds_mm;
  if (profile_along(out_up_mm.x(), out_up_mm.y()) > middle_along_mm)
    return {out_up_mm.x() - shift_mm / normal.x(), out_up_mm.y()};
  return {out_up_mm.x(), out_up_mm.y() - shift_mm / normal.y()};
}

std::vector<std::optional<BevelMovement>> bevel_movement(const std::vector<SectionPieces>& sections,
                                                         const Expected& expected, double lean_rad) {
  std::vector<std::optional<BevelMovement>> movements(sections.size());
  if (!expected.bevel) return movements;
  const double shallow_mm = deepest_at_the_rim_mm(expected);
  const std::vector<Sloping> pieces = sloping_pieces(sections, *expected.bevel, lean_rad);
  const double slope = common_slope(pieces), square = std::sqrt(1.0 + slope * slope);
  for (std::size_t i = 0; i < sections.size(); ++i) {
    std::vector<Seen> seen;
    for (const Sloping& piece : pieces) {
      const double ds_mm = piece.station_mm - sections[i].station_mm;
      if (std::abs(ds_mm) > reach_mm) continue;
      seen.push_back({Vector2(ds_mm, (piece.height_mm - slope * piece.middle_along_mm) / square), &piece});
    }
    const std::vector<Seen> on = most_on_a_course(seen);
    if (on.empty()) continue;
    const Course course = course_through(on);
    if (std::abs(course.speed) < slowest) continue;
    std::vector<double> middles;
    for (const Seen& piece : on) middles.push_back(piece.piece->middle_along_mm);
    const double middle_mm = median_of(middles);
    BevelMovement movement{middle_mm, Vector2(1.0 + slope, 1.0 - slope) / (std::numbers::sqrt2 * square), course.speed,
                           course.growth};
    // Where the bevel meets the side, at out = 0.
    const Vector2 middle = out_up_from_profile(middle_mm, course.offset_mm * square + slope * middle_mm);
    const double drop_mm = -movement.normal.dot(middle) / movement.normal.y();
    if (movement.normal.minCoeff() < 0.1 || drop_mm < shallow_mm) continue;
    movements[i] = movement;
  }
  return movements;
}

}  // namespace rimwright
