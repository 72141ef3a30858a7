// The path of a camera carried along a rim by hand: it looks at the rim corner from a near-constant range, swings
// between looking from the side and from above so that ledge floors and walls are both seen, and trembles.
#pragma once

#include <cstdint>

#include "simulate/body.h"
#include "simulate/depth_camera.h"

namespace rimwright {

struct HandHeldPath {
  double from_mm = 0.0, to_mm = 400.0;  // stations looked at by the first and last frame
  bool returns = false;                 // goes there and back, so that the end meets the start
  std::size_t frames = 120;
  double range_mm = 300.0;     // from the rim corner
  double lowest_deg = 20.0;    // elevation of the camera above the plane of the top, seen from the rim corner
  double highest_deg = 70.0;   //
  double swings = 4.0;         // between lowest and highest, over the pass
  double sideways_deg = 12.0;  // looks ahead and back by so much
  double tremble_mm = 2.0;     // of the place, about 2 to 7 waves over 30 frames
  double tremble_deg = 0.5;    // of the direction
  double roll_deg = 1.5;       // about the optical axis
};

// The path as a function of time in frames, fixed by the seed. Looks at body.outline_at(station); beyond an open
// outline's end it looks at the end.
[[nodiscard]] CameraPath hand_held_path(const Body& body, const HandHeldPath& path, std::uint64_t seed);

}  // namespace rimwright
