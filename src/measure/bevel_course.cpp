#include "measure/bevel_course.h"

#include <Eigen/Dense>
#include <algorithm>
#include <cmath>

namespace rimwright {

namespace {

constexpr double fastest = 1.0;  // mm a mm: faster no run-out is

// The pieces on a course, of each section the nearest. `seen` in the order of sections.
std::vector<SeenPiece> on_course(const BevelCourse& course, const std::vector<SeenPiece>& seen, double off_course_mm) {
  std::vector<SeenPiece> on;
  for (const SeenPiece& piece : seen) {
    const double off_mm = course.off_mm(piece.at);
    if (!(off_mm < off_course_mm)) continue;
    if (on.empty() || on.back().piece->section != piece.piece->section)
      on.push_back(piece);
    else if (off_mm < course.off_mm(on.back().at))
      on.back() = piece;
  }
  return on;
}

}  // namespace

SlopingPiece sloping_piece(const std::vector<SectionPieces>& sections, std::size_t section, std::size_t piece) {
  const Piece& p = sections[section].pieces[piece];
  return {section,
          piece,
          sections[section].station_mm,
          p.middle_along_mm,
          p.middle_height_mm,
          p.slope,
          p.to_along_mm - p.from_along_mm};
}

double common_slope(std::vector<SlopingPiece> pieces) {
  std::sort(pieces.begin(), pieces.end(),
            [](const SlopingPiece& a, const SlopingPiece& b) { return a.slope < b.slope; });
  double half_mm = 0.0, so_far_mm = 0.0;
  for (const SlopingPiece& piece : pieces) half_mm += 0.5 * piece.length_mm;
  for (const SlopingPiece& piece : pieces) {
    so_far_mm += piece.length_mm;
    if (so_far_mm >= half_mm) return piece.slope;
  }
  return 0.0;
}

double BevelCourse::off_mm(const Vector2& p) const {
  return std::abs(p.y() - offset_mm - speed * p.x() - 0.5 * growth_per_mm * p.x() * p.x());
}

BevelCourse course_through(const std::vector<SeenPiece>& seen) {
  Matrix3 a = Matrix3::Zero();
  Vector3 b = Vector3::Zero();
  for (const SeenPiece& piece : seen) {
    const double x = piece.at.x();
    const Vector3 row(1.0, x, 0.5 * x * x);
    a += row * row.transpose();
    b += row * piece.at.y();
  }
  const Vector3 c = a.ldlt().solve(b);
  return {c[0], c[1], c[2]};
}

std::vector<SeenPiece> seen_from(double station_mm, const std::vector<SlopingPiece>& pieces, double slope) {
  const double square = std::sqrt(1.0 + slope * slope);
  std::vector<SeenPiece> seen;
  for (const SlopingPiece& piece : pieces) {
    const double ds_mm = piece.station_mm - station_mm;
    if (std::abs(ds_mm) > course_reach_mm) continue;
    seen.push_back({Vector2(ds_mm, (piece.height_mm - slope * piece.middle_along_mm) / square), &piece});
  }
  return seen;
}

std::vector<SeenPiece> most_on_a_course(const std::vector<SeenPiece>& seen, double off_course_mm,
                                        const SlopingPiece* through) {
  std::vector<SeenPiece> most;
  for (std::size_t i = 0; i < seen.size(); ++i)
    for (std::size_t j = i + 1; j < seen.size(); ++j)
      for (std::size_t k = j + 1; k < seen.size(); ++k) {
        const SlopingPiece &a = *seen[i].piece, &b = *seen[j].piece, &c = *seen[k].piece;
        if (a.section == b.section || b.section == c.section) continue;
        if (through != nullptr && &a != through && &b != through && &c != through) continue;
        const BevelCourse course = course_through({seen[i], seen[j], seen[k]});
        if (!(std::abs(course.speed) < fastest)) continue;
        std::vector<SeenPiece> on = on_course(course, seen, off_course_mm);
        if (on.size() > most.size()) most = std::move(on);
      }
  if (most.size() < fewest_sections_a_course) most.clear();
  return most;
}

}  // namespace rimwright
