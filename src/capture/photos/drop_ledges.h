// Drops what lies beside the rim but on none of its faces: floors and walls of ledges, and blends of these. The sweep
// finds ledges by patches made for them; one matched by chance beforehand would hide its neighbourhood from it.
#pragma once

#include <vector>

#include "capture/photos/edge_frames.h"
#include "capture/photos/refine_patch.h"

namespace rimwright {

struct DropLedgesSettings {
  double nearest_mm = 1.5;      // along the rim to the section a patch is judged in; with none nothing is said of it
  double same_face_deg = 12.0;  // of normals; hollows and humps lean a face by half of that
  double off_face_mm = 0.4;     // unfair side and top lie nearer, the floor of a ledge, as level or upright, farther
  double off_bevel_mm = 1.5;    // hollows and humps of the bevel are no farther off; nothing else lies as it does
  double off_share = 0.01;      // and this much of the distance from the rim more: tops are domed
};

// Patches in their order.
[[nodiscard]] std::vector<Patch> drop_ledges(const std::vector<Patch>& patches,
                                             const std::vector<std::vector<RimSection>>& sections,
                                             const DropLedgesSettings& settings);

}  // namespace rimwright
