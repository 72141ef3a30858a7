// Segment: cut each section's profile into straight pieces, each upright, level or sloping.
//
// In the profile frame a section is one function, so the best sequence of straight pieces follows from dynamic
// programming over bins (Bellman 1961, segmented least squares): no starting values, no seeds, no plan. Pieces that
// fit nothing (tear-out, rounded corners, clutter) are skipped at a price instead of bending their neighbours.
#pragma once

#include <vector>

#include "core/parallel.h"
#include "measure/expected.h"
#include "rim/unroll.h"

namespace rimwright {

enum class Lie { upright, level, sloping };

struct Piece {
  Lie lie = Lie::upright;
  double from_along_mm = 0.0, to_along_mm = 0.0;  // profile frame
  double middle_along_mm = 0.0, middle_height_mm = 0.0;
  double slope = 0.0;  // dheight/dalong
  double points = 0.0;
  [[nodiscard]] double height_at(double along_mm) const {
    return middle_height_mm + slope * (along_mm - middle_along_mm);
  }
};

struct SectionPieces {
  double station_mm = 0.0;
  std::vector<Piece> pieces;  // from the side up to the top
  double cost = 0.0;          // of the cut: misfit in squared standard deviations, pieces and what is skipped
};

struct SegmentSettings {
  double station_step_mm = 2.0;
  double slab_mm = 3.0;  // length of rim that goes into one section; longer where points are sparse
  double longest_slab_mm = 10.0;
  double bin_mm = 0.16;       // in the working zone; a 0.6 mm floor spans two whole bins
  double far_bin_mm = 1.0;    // where only side or top is expected
  double points_a_bin = 2.0;  // at least; more would lengthen the slab of a thin cloud, which blurs run-outs
  double bin_noise_mm = 0.1;  // standard deviation wanted of a bin's mean
  double widest_bin_mm = 0.7;
  double model_error_mm = 0.05;    // faces are not straight to better than this over a piece
  double price_of_a_piece = 14.0;  // in squared standard deviations; about 2 ln(bins) plus three parameters
  double price_of_a_skipped_bin = 12.0;
  double slope_freedom = 0.07;  // standard deviation of an upright or level piece's slope, about 2 deg
  double points_a_slab = 5000;  // of a very dense scan, about 19 a bin; more where noise asks for more a bin
};

// How far down the side from the rim corner work is looked for.
[[nodiscard]] double work_down_mm(const Expected& expected);

// `expected` only tells how far the work reaches from the rim corner and about which angle the bevel has.
[[nodiscard]] std::vector<SectionPieces> segment_sections(const UnrolledRim& rim, double noise_mm, double lean_rad,
                                                          const Expected& expected, const SegmentSettings& settings,
                                                          Workers& workers);

}  // namespace rimwright
