// Drawings of what the plan implies, for the eye: the bevel in its block and every channel with its strips.
#pragma once

#include <string>

#include "core/refusal.h"
#include "plan/plan.h"

namespace rimwright {

// One SVG page: a panel for the bevel (when planned) and one for each channel, to scale, with dimensions.
[[nodiscard]] std::string draw_sections_svg(const Plan& plan);

// One channel in characters, 0.3 mm across and 0.6 mm down a cell: # wood, a b c the strips from the outside in, blank
// air and glue. Away from the body is to the right and away from the top is up, as on the SVG.
[[nodiscard]] std::string draw_section_text(const Plan& plan, const PlannedChannel& channel);

}  // namespace rimwright
