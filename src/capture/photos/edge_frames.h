// Where the bevel meets top and side: frames along its edges, beside those of the rim.
//
// In a run-out the bevel's upper edge crosses the rim at up to 40 degrees, the lower at up to 30, and the ledges follow
// the edges. A patch laid along the rim would reach over their walls. The edge's direction is square to both faces.
#pragma once

#include <optional>
#include <vector>

#include "capture/photos/common_plane.h"
#include "capture/photos/refine_patch.h"
#include "capture/photos/rim_frames.h"

namespace rimwright {

struct EdgeFramesSettings {
  double steep_below_cosine = 0.3;   // as of the rim's frames: what is less steep and less level is bevel
  double level_above_cosine = 0.94;  // of normal and up
  double bevel_along_mm = 3.0;       // patches of the bevel count for a station so far along the rim
  double bevel_reach_mm = 60.0;      // and so far from the rim's corner
  std::size_t fewest_patches = 12;   // of the bevel at a station
  double roughest_mm = 0.3;          // median of their distances from their plane: a bevel may be hollow
  double narrowest_mm = 3.0;         // from edge to edge: with less bevel its plane is not known
  double farthest_mm = 10.0;         // from an edge that its frame is used, as far as half the bevel at most
  double shallow_mm = 8.0;           // of drop: ledges of top and side may still follow the rim itself
};

// A frame of the rim, and the plane of the bevel there, where one is seen.
struct RimSection {
  RimFrame rim;
  std::optional<CommonPlane> bevel;
};
// A plane is kept where enough patches of the bevel lie on one; blends of a stair of ledges scatter too much.
[[nodiscard]] std::vector<std::vector<RimSection>> rim_sections(const std::vector<Patch>& patches,
                                                                const std::vector<std::vector<RimFrame>>& rim,
                                                                const EdgeFramesSettings& settings);

// Sections to sweep for ledges: where there is no bevel or it is shallow, the rim's; and where it has edges, theirs.
// Each run is of one kind.
[[nodiscard]] std::vector<std::vector<RimFrame>> edge_frames(const std::vector<std::vector<RimSection>>& sections,
                                                             const EdgeFramesSettings& settings);

}  // namespace rimwright
