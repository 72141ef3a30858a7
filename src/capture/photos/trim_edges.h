// Patches beside an edge see past it: they are measured anew with a patch narrow across the rim, and the outermost are
// dropped.
#pragma once

#include <vector>

#include "capture/photos/grow_patches.h"
#include "capture/photos/refine_patch.h"
#include "core/parallel.h"

namespace rimwright {

struct TrimEdgesSettings {
  double reach_mm = 2.4;             // neighbours on the same face are looked for this far,
  double beside_mm = 0.5;            // on both sides, at least this far across
  double same_face_deg = 10.0;       // in normal: a blend of bevel and floor leans half of 34 degrees from either,
  double off_plane_mm = 0.15;        // and this close to the patch's plane
  std::size_t least_neighbours = 4;  // with fewer in all, the photos see too little to speak of an edge
  double half_along_mm = 1.8, half_across_mm = 0.4;
  double least_correlation = 0.5;
  int passes = 2;  // what was hidden behind the outermost patch may be an edge in turn
};

// Patches in their order. Needs the direction of the rim at each (GrowWhere).
[[nodiscard]] std::vector<Patch> trim_edges(const PhotoStack& stack, std::vector<Patch> patches, const GrowWhere& where,
                                            const RefinePatchSettings& refine, const TrimEdgesSettings& settings,
                                            Workers& workers);

}  // namespace rimwright
