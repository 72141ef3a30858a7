// How unsharp a photo is, from the straight edges of the target's squares: steps from ink to paper, sharp in print.
//
// Photos held against each other tell which is worse than the rest; only an edge known to be sharp tells that all of
// them are blurred alike. The spread of a step's image is that of the blur (ISO 12233's slanted edge, in one number).
#pragma once

#include <vector>

#include "capture/photos/find_target.h"
#include "capture/photos/photo_set.h"
#include "capture/scale_target.h"

namespace rimwright {

// Standard deviation of the blur across edges, in pixels: median over the edges between neighbouring corners. Where the
// hand moved, edges across its way spread, those along it do not; the wider of the board's two directions counts. 0
// with fewer than 6 edges of a direction, of at least 25 pixels.
[[nodiscard]] double edge_spread_px(const Photo& photo, const std::vector<TargetCorner>& corners,
                                    const ScaleTarget& target);

}  // namespace rimwright
