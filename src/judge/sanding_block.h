// The face under a flat sanding block: where pencil marks would stay, and how much wood comes off until none do.
//
// The block is a flat segment of the builder's length, held at the planned angle and run along the rim. What it touches
// is the morphological closing of each line of the unrolled face by that segment (ISO 16610-41, horizontal segment as
// structuring element): the closing lies on the face where the block touches and spans the hollows it cannot enter.
// The rim's own bend is in the target face and so not in the deviations: a block follows it by being worked round.
#pragma once

#include <cstddef>
#include <limits>
#include <string>
#include <vector>

#include "measure/measures.h"
#include "plan/plan.h"

namespace rimwright {

struct SandingSettings {
  double block_length_mm = 100.0;  // the builder's flat block; 10 to 400
  double pencil_mm = 0.03;  // a mark this deep below the block is not rubbed off; a pencil line is about as thick
  double smooth_mm = 5.0;   // along the rim: the map's own noise is averaged over this before it is closed
};

// One column of the unrolled face.
struct SandedStation {
  double station_mm = 0.0;
  double deepest_mark_mm = 0.0;      // largest depth below the block; 0 where it touches everywhere
  double to_take_off_mm = 0.0;       // most wood to take off in this column until no mark stays
  double to_take_off_fair_mm = 0.0;  // the least that brings the column within straightness and waviness
};

struct SandingBlock {
  double block_length_mm = 0.0;
  std::vector<SandedStation> stations;  // only columns where the face was measured
  double marked_share = 0.0;            // of the face, still pencilled after one pass
  double most_to_take_off_mm = 0.0;
  double most_to_take_off_station_mm = 0.0;
  double wood_mm3 = 0.0;      // taken off until no mark stays
  double most_fair_mm = 0.0;  // least removal into tolerance, its largest
  double most_fair_station_mm = 0.0;
  // Least of (block left - what must be kept - what the least removal takes there); NaN when no block was measured.
  double room_left_mm = std::numeric_limits<double>::quiet_NaN();
  double room_left_station_mm = 0.0;
  std::vector<std::string> sentences;  // for people
};

// Closing of a line by a flat segment of `half` samples either way: erosion of the dilation. NaN parts the line into
// pieces that are closed apart. At a line's ends the segment is cut, not extended.
[[nodiscard]] std::vector<double> closing(const std::vector<double>& line, std::size_t half);

// The largest line below `line` that we know the segment to touch everywhere: hollows it cannot enter are widened to
// the segment's length; everything else is left as it is.
[[nodiscard]] std::vector<double> sanded_down(const std::vector<double>& line, std::size_t half, double pencil);

[[nodiscard]] SandingBlock sand_with_block(const Plan& plan, const Measures& measures,
                                           const SandingSettings& settings = {});

}  // namespace rimwright
