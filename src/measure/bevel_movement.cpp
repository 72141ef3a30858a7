#include "measure/bevel_movement.h"

#include <Eigen/Dense>
#include <algorithm>
#include <cmath>

#include "core/median.h"
#include "measure/profile_frame.h"

namespace rimwright {

namespace {

constexpr double reach_mm = 7.0;        // of sections, each way: a run-out's speed changes little over that
constexpr std::size_t fewest = 5;       // sections within reach, for a speed and its growth
constexpr double slowest = 0.05;        // mm a mm: slower, a slab of some millimetres is sharp as it is
constexpr double off_course_mm = 0.15;  // a section that lies farther off does not count

// The bevel of a section: the longest sloping piece near the planned angle.
const Piece* bevel_of(const SectionPieces& section, const ExpectedBevel& expected, double lean_rad) {
  constexpr double most_off_rad = 0.2;
  const Piece* best = nullptr;
  for (const Piece& piece : section.pieces) {
    const double angle = std::numbers::pi / 4 - std::atan(piece.slope) - lean_rad;
    if (piece.lie != Lie::sloping || std::abs(angle - (std::numbers::pi - expected.angle_rad)) > most_off_rad) continue;
    if (best == nullptr || piece.to_along_mm - piece.from_along_mm > best->to_along_mm - best->from_along_mm)
      best = &piece;
  }
  return best;
}

// Deepest of the channels that follow the rim, which a bevel as deep has cut away.
double deepest_at_the_rim_mm(const Expected& expected) {
  double deepest = 0.0;
  for (const auto& channel : expected.channels)
    if (channel.corner == ExpectedCorner::top_side)
      for (const auto& step : channel.steps) deepest = std::max(deepest, step.depth_mm);
  return deepest;
}

struct Course {
  double height_mm = 0.0, speed = 0.0, growth = 0.0;
};

// Height of the bevel against station by least squares, what lies off left out once.
std::optional<Course> course_of(std::vector<Vector2> seen) {
  for (int round = 0; round < 2; ++round) {
    if (seen.size() < fewest) return std::nullopt;
    Matrix3 a = Matrix3::Zero();
    Vector3 b = Vector3::Zero();
    for (const Vector2& p : seen) {
      const Vector3 row(1.0, p.x(), 0.5 * p.x() * p.x());
      a += row * row.transpose();
      b += row * p.y();
    }
    const Vector3 c = a.ldlt().solve(b);
    const auto off = [&](const Vector2& p) {
      return std::abs(p.y() - c[0] - c[1] * p.x() - 0.5 * c[2] * p.x() * p.x()) > off_course_mm;
    };
    const auto strays = std::remove_if(seen.begin(), seen.end(), off);
    if (strays == seen.end()) return Course{c[0], c[1], c[2]};
    seen.erase(strays, seen.end());
  }
  return std::nullopt;
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
  std::vector<const Piece*> bevels;
  for (const SectionPieces& section : sections) bevels.push_back(bevel_of(section, *expected.bevel, lean_rad));
  for (std::size_t i = 0; i < sections.size(); ++i) {
    std::vector<double> slopes, middles;
    std::vector<std::size_t> near;
    for (std::size_t k = 0; k < sections.size(); ++k) {
      if (bevels[k] == nullptr || std::abs(sections[k].station_mm - sections[i].station_mm) > reach_mm) continue;
      near.push_back(k);
      slopes.push_back(bevels[k]->slope);
      middles.push_back(bevels[k]->middle_along_mm);
    }
    if (near.size() < fewest) continue;
    const double slope = median_of(slopes), middle_mm = median_of(middles);
    const double square = std::sqrt(1.0 + slope * slope);
    std::vector<Vector2> seen;
    for (std::size_t k : near)
      seen.emplace_back(sections[k].station_mm - sections[i].station_mm, bevels[k]->height_at(middle_mm) / square);
    const auto course = course_of(std::move(seen));
    if (!course || std::abs(course->speed) < slowest) continue;
    BevelMovement movement{middle_mm, Vector2(1.0 + slope, 1.0 - slope) / (std::numbers::sqrt2 * square), course->speed,
                           course->growth};
    // Where the bevel meets the side, at out = 0.
    const Vector2 middle = out_up_from_profile(middle_mm, course->height_mm * square);
    const double drop_mm = -movement.normal.dot(middle) / movement.normal.y();
    if (movement.normal.minCoeff() < 0.1 || drop_mm < shallow_mm) continue;
    movements[i] = movement;
  }
  return movements;
}

}  // namespace rimwright
