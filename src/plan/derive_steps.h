// From a stack of strips to the steps of the ledge that seats it.
//
// A strip's share of the width is its thickness and the glue line behind it; strips of one height share a step; the
// width of a step is the sum of the shares from the outside in to its last strip; its depth is height + glue - proud
// (the strip rests on one glue line and stands out by `proud`). Common practice, no source.
#pragma once

#include <vector>

#include "plan/plan.h"

namespace rimwright {

// Deepest first. Strips whose heights differ by less than a micrometre share a step. Heights must not rise inwards
// (read_plan refuses such a stack: a ledge cut from its corner only gets shallower inwards).
[[nodiscard]] std::vector<PlannedStep> derive_steps(const std::vector<Strip>& strips, double glue_mm, double proud_mm);

// Corner to the inner face of a strip with its glue line: the cumulative sum of thickness + glue up to this strip.
[[nodiscard]] double stack_width_mm(const PlannedChannel& channel, std::size_t last_strip);

}  // namespace rimwright
