// The set-up sheet: what to set on the bench for the planned cuts.
//
// Constructions, named by their geometry (all common practice, no source; derivations by plane geometry):
//   bearing on the side   (top-side channels) a bearing of diameter B on the axis of a cutter of diameter D rides on
//   the side
//                         face, axis in line with it; the cutter reaches (D - B) / 2 past it, so a width w needs B = D
//                         - 2 w
//   follower on a template  (channels along the bevel, where a bearing would ride on a slope) a follower (guide bush)
//   of diameter F round the cutter runs along a template's edge; the near
//                         edge of the groove lies (F - D) / 2 from the template, the far edge (F + D) / 2
//   base on the bevel     a base plate that rides on the bevel must tilt by 180 - angle for the cutter to stand square
//   to
//                         the side (interior angle and base tilt add to 180), and by angle - 90 for it to stand in line
//                         with the side, square to a flat top
#pragma once

#include <cstddef>
#include <optional>
#include <vector>

#include "plan/plan.h"

namespace rimwright {

struct SetUpSettings {
  // Used when the plan lists no cutters: the commonest straight cutter for binding work, mm (common practice, no
  // source).
  double usual_cutter_mm = 9.5;
  double usual_follower_mm = 16.0;  // likewise, when the plan lists no followers
};

[[nodiscard]] constexpr double bearing_for_width_mm(double cutter_mm, double width_mm) {
  return cutter_mm - 2.0 * width_mm;
}
[[nodiscard]] constexpr double width_from_bearing_mm(double cutter_mm, double bearing_mm) {
  return (cutter_mm - bearing_mm) / 2.0;
}
[[nodiscard]] constexpr double near_edge_from_template_mm(double cutter_mm, double follower_mm) {
  return (follower_mm - cutter_mm) / 2.0;
}
[[nodiscard]] constexpr double far_edge_from_template_mm(double cutter_mm, double follower_mm) {
  return (follower_mm + cutter_mm) / 2.0;
}
[[nodiscard]] constexpr double base_tilt_square_to_side_deg(double angle_deg) { return 180.0 - angle_deg; }
[[nodiscard]] constexpr double base_tilt_in_line_with_side_deg(double angle_deg) { return angle_deg - 90.0; }

// A cutter and the bearing that gives the step its width.
struct BearingChoice {
  double cutter_mm = 0.0;
  double wanted_bearing_mm = 0.0;            // at most 0 when the cutter is too slender for the width
  std::optional<double> nearest_bearing_mm;  // of the plan's list that the cutter can carry
  std::optional<double> width_it_gives_mm;
  bool within_tolerance = false;  // of the plan's width
};

// A cutter and a follower, and where the template's edge must lie for the wall of a step to come out right; measured
// along the first face from the bevel's edge, positive away from the bevel.
struct TemplateChoice {
  double cutter_mm = 0.0, follower_mm = 0.0;
  double near_edge_mm = 0.0, far_edge_mm = 0.0;  // from the template
  double template_beyond_mm = 0.0;               // template on the far side of the groove: the wall is the near edge
  double template_before_mm = 0.0;               // template on the bevel's side: the wall is the far edge
};

// One pass of the router.
struct RoutingPass {
  std::size_t channel = 0, step = 0;  // indices into the plan
  double depth_mm = 0.0;              // cutter below the first face
  double width_mm = 0.0;
  std::vector<BearingChoice> bearings;    // top-side only, one a cutter; cutters too slender for the width last
  std::vector<TemplateChoice> templates;  // channels along a bevel's edge only, one a cutter and follower
};

struct SetUpSheet {
  // In the order to rout: of one channel the widest and shallowest step first, because the bearing then still rides on
  // face that a deeper step would take away. Channels along the bevel's edges come after the bevel itself.
  std::vector<RoutingPass> passes;
};

[[nodiscard]] SetUpSheet set_up(const Plan& plan, const SetUpSettings& settings = {});

}  // namespace rimwright
