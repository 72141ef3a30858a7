// Checks of the wood before any is cut: what the plan, taken at its word, would run into. Each warning names the line
// of the plan. Geometry: a flat top square to an upright side; with a dome or a lean the true figures differ a little,
// and inspect measures them.
#pragma once

#include <string>
#include <vector>

#include "plan/plan.h"

namespace rimwright {

struct PlanWarning {
  int line = 0;      // of the plan file; 0 when the plan was not read from a file
  std::string text;  // one sentence without full stop
};

// How far in along the top a bevel of the given drop reaches: drop x tan(180 - angle).
[[nodiscard]] double top_reach_for_drop_mm(double drop_mm, double angle_deg);

// The drop at which a bevel's upper edge comes in as far as the given distance: distance / tan(180 - angle).
[[nodiscard]] double drop_for_top_reach_mm(double reach_mm, double angle_deg);

// In the order of the plan's lines.
[[nodiscard]] std::vector<PlanWarning> check_plan(const Plan& plan);

}  // namespace rimwright
