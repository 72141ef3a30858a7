// A planned channel in the section square to the rim, as polygons in (out, up) about the rim corner, millimetres: what
// the drawings and the report show. Flat top square to an upright side; the bevel at nominal angle and full drop.
#pragma once

#include <vector>

#include "core/frames.h"
#include "plan/plan.h"

namespace rimwright {

// Axes of a channel's corner. A point is corner + along * a + deep * n.
struct CornerAxes {
  Vector2 corner = Vector2::Zero();
  Vector2 along = Vector2::Zero();   // along the first face, away from the corner
  Vector2 deep = Vector2::Zero();    // into the wood, square to the first face
  Vector2 second = Vector2::Zero();  // along the second face, away from the corner
};
[[nodiscard]] CornerAxes corner_axes(const Plan& plan, ChannelCorner corner);

struct SectionShape {
  CornerAxes axes;
  std::vector<Vector2> wood;                 // one closed polygon, `reach_mm` beyond the ledge on all sides
  std::vector<std::vector<Vector2>> strips;  // a rectangle each, in the plan's order, seated on their glue line
};
[[nodiscard]] SectionShape section_shape(const Plan& plan, const PlannedChannel& channel, double reach_mm);

}  // namespace rimwright
