// Drops patches that stand alone: a false match has no neighbours on its face.
#pragma once

#include <vector>

#include "capture/photos/refine_patch.h"

namespace rimwright {

struct KeepSupportedSettings {
  double reach_mm = 2.6;          // neighbours are looked for this far away
  double same_face_deg = 20.0;    // in normal
  double off_plane_mm = 0.06;     // a neighbour supports if it lies this close to the patch's plane,
  double off_plane_share = 0.03;  // and this much of its distance more (curved rims, slopes not quite known)
  std::size_t least_neighbours = 4;
};

// Patches in their order, without those that lack support. A second pass removes what leaned on the removed.
[[nodiscard]] std::vector<Patch> keep_supported(std::vector<Patch> patches, const KeepSupportedSettings& settings);

}  // namespace rimwright
