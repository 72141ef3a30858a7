// Name: which piece of each section is the side, the top, the bevel, or a floor or wall of which planned channel.
//
// Floors and walls are told apart by where they lie and in which order they come, not by how well they meet the plan:
// a ledge cut a millimetre wrong keeps its name and is measured. What matches nothing stays unnamed.
#pragma once

#include <vector>

#include "measure/expected.h"
#include "measure/measures.h"
#include "measure/segment_sections.h"

namespace rimwright {

enum class FaceName { side, top, bevel, floor, wall };
[[nodiscard]] FaceKind kind_of(FaceName name);  // for reports

// One face followed along the rim. Entry i belongs to section i; present[i] tells whether it was seen there.
struct FaceTrack {
  FaceName name = FaceName::side;
  std::size_t channel = 0, step = 0;  // for floors and walls
  Lie lie = Lie::upright;
  std::vector<char> present;
  std::vector<Piece> piece;
};

struct FaceTracks {
  std::vector<double> station_mm;
  std::vector<FaceTrack> tracks;  // side, top, bevel (if expected), then floors and walls of each channel
  [[nodiscard]] const FaceTrack* find(FaceName name, std::size_t channel = 0, std::size_t step = 0) const;
};

struct NameSettings {
  double side_within_mm = 0.6;  // of the outline, about its own unfairness
  double top_within_mm = 1.5;   // of the fitted top
  double shortest_side_mm = 2.5, shortest_top_mm = 3.0;
  double shortest_bevel_mm = 1.5;  // less is a rounded edge
  std::size_t most_pieces = 20;  // a section of more is clutter (a full one has 11, twice that in a run-out through it)
  double bevel_within_deg = 12.0;      // of the planned angle: beyond that it is a broken or rounded edge
  double bevel_off_course_mm = 0.4;    // and so far from the course of its neighbours, plus the noise, another face
  double shallowest_cut_sigmas = 6.0;  // distance of the bevel from the rim corner, in noise widths
  double blurred_sigmas = 6.0;   // a ledge narrower or shallower than so many noise widths blurs into its neighbours
  double shortest_run_mm = 6.0;  // a face seen along less rim than this is a chance fit
  double widest_miss_mm = 2.0;   // a ledge further from its plan than this is another thing
};

[[nodiscard]] FaceTracks name_faces(const std::vector<SectionPieces>& sections, const UnrolledRim& rim, double noise_mm,
                                    double lean_rad, const Expected& expected, const NameSettings& settings);

}  // namespace rimwright
