// The course that the bevel takes along the rim: which sloping pieces of neighbouring sections bear each other out.
//
// In a run-out's blurred sections ledges, too, pass for the bevel. They stand still, or jump from section to section;
// the bevel goes on evenly: over some sections its distance from the rim corner is a parabola of the station.
#pragma once

#include <cstddef>
#include <vector>

#include "core/frames.h"
#include "measure/segment_sections.h"

namespace rimwright {

// A piece that may be the bevel. Profile frame.
struct SlopingPiece {
  std::size_t section = 0, piece = 0;  // by index
  double station_mm = 0.0;
  double middle_along_mm = 0.0, height_mm = 0.0, slope = 0.0, length_mm = 0.0;  // length along the profile
};

[[nodiscard]] SlopingPiece sloping_piece(const std::vector<SectionPieces>& sections, std::size_t section,
                                         std::size_t piece);

// The slope of the bevel all along the rim: the median, each piece counted by its length.
[[nodiscard]] double common_slope(std::vector<SlopingPiece> pieces);

// A piece's place in a course: `x` its station from the one asked about, `y` its distance from the profile frame's
// origin square to the bevel.
struct SeenPiece {
  Vector2 at = Vector2::Zero();
  const SlopingPiece* piece = nullptr;
};

struct BevelCourse {
  double offset_mm = 0.0, speed = 0.0, growth_per_mm = 0.0;  // at the station, by the station, by its square
  [[nodiscard]] double off_mm(const Vector2& p) const;
};

// Least squares.
[[nodiscard]] BevelCourse course_through(const std::vector<SeenPiece>& seen);

constexpr double course_reach_mm = 9.0;  // each way of a station: a run-out's speed changes little over that
constexpr std::size_t fewest_sections_a_course = 5;  // for a speed and its growth

// Those within reach of a station, in the order of `pieces`.
[[nodiscard]] std::vector<SeenPiece> seen_from(double station_mm, const std::vector<SlopingPiece>& pieces,
                                               double slope);

// Of all parabolas through three pieces the one that pieces of most sections lie on (as Fischler and Bolles, CACM 24,
// 1981, but trying all): those pieces, of each section the nearest. `seen` in the order of sections. Only parabolas
// through `through`, where given, one of `seen`. Empty where too few sections agree.
[[nodiscard]] std::vector<SeenPiece> most_on_a_course(const std::vector<SeenPiece>& seen, double off_course_mm,
                                                      const SlopingPiece* through = nullptr);

}  // namespace rimwright
