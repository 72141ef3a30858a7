// What the builder means to find, in the measuring room's own words: it steers where to look and how to name what is
// seen; no measured value is taken from it. (The plan room is not known here; the chain translates.)
#pragma once

#include <optional>
#include <vector>

namespace rimwright {

enum class ExpectedCorner { top_side, top_bevel, side_bevel };

struct ExpectedStep {
  double width_mm = 0.0;  // cumulative, from the corner of the two faces
  double depth_mm = 0.0;
};

struct ExpectedChannel {
  ExpectedCorner corner = ExpectedCorner::top_side;
  std::vector<ExpectedStep> steps;  // from the outside in, deepest first
};

struct ExpectedBevel {
  double angle_rad = 0.0;  // inside the wood
  double drop_mm = 0.0;
  double shortest_wave_mm = 10.0, longest_wave_mm = 80.0;
  double shortest_edge_wave_mm = 10.0, longest_edge_wave_mm = 80.0;
};

struct ExpectedBlock {
  double top_mm = 0.0, side_mm = 0.0;
};

struct Expected {
  std::optional<ExpectedBevel> bevel;
  std::optional<ExpectedBlock> block;
  std::vector<ExpectedChannel> channels;
};

}  // namespace rimwright
