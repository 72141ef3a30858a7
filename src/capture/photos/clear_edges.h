// Drops patches that reach over the edge of their face, or lie beyond it: what they show is a blend of two faces, or
// another one.
#pragma once

#include <vector>

#include "capture/photos/refine_patch.h"

namespace rimwright {

struct ClearEdgesSettings {
  double reach_mm = 2.6;         // patches of the other face are looked for this far
  double other_face_deg = 15.0;  // normals that differ by more are of another face
  double same_face_mm = 0.3;     // and patches farther off a patch's plane, too
  double clear_share = 1.0;      // of the patch's half sizes, that its middle keeps from the line where the faces meet
  double askew_free = 0.15;  // sine of a turn from the patch's length that does not count: edges bend, normals scatter
  std::size_t least_witnesses = 3;  // patches of the other face that put the edge too near
};

// Patches in their order, without those that lie too near the line where their plane meets a neighbour's.
[[nodiscard]] std::vector<Patch> clear_edges(const std::vector<Patch>& patches, const ClearEdgesSettings& settings);

}  // namespace rimwright
