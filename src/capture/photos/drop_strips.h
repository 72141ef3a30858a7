// Drops what looks like top or side but is no wider than a ledge: that is for the sweep to find, and no rim runs there.
#pragma once

#include <vector>

#include "capture/photos/refine_patch.h"

namespace rimwright {

struct DropStripsSettings {
  double steep_below_cosine = 0.3;   // of normal and up of the sheet: what is steeper may be side,
  double level_above_cosine = 0.94;  // what is flatter top; the bevel between them has no strips beside it
  double same_face_deg = 10.0;       // in normal; neighbours of the same face,
  double off_plane_mm = 0.3;         // and this close to the patch's plane
  double narrowest_mm = 4.0;         // of a face at a patch, where it is narrowest; blends beside edges widen a ledge
  double strip_mm = 2.0;             // neighbours so far to either side count for a width
  double reach_mm = 6.0;             // and so far in all
};

// Patches in their order.
[[nodiscard]] std::vector<Patch> drop_strips(const std::vector<Patch>& patches, const DropStripsSettings& settings);

}  // namespace rimwright
