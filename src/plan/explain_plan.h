// What a plan implies, in words for the bench: derived steps with a drawing in characters, the order of routing, the
// set-up sheet with its formulas, and the checks of the wood.
#pragma once

#include <string>

#include "plan/plan.h"

namespace rimwright {

[[nodiscard]] std::string explain_plan(const Plan& plan);

}  // namespace rimwright
