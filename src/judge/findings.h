// From judged stations to findings: what is wrong or open, where, how much, and what to do about it at the bench.
#pragma once

#include <string>
#include <vector>

#include "judge/compare.h"
#include "judge/inspection.h"
#include "judge/stretches.h"

namespace rimwright {

struct FindingsSettings {
  StretchSettings stretches;
  double longest_unseen_mm = 20.0;  // a longer stretch of a planned feature without a number leaves it undecided
};

// Findings with their advice, failures before undecided ones, worst first within each (excess over the limit in
// units of the width of tolerance, or of the limit where it has one side).
[[nodiscard]] std::vector<Finding> find_and_advise(const Plan& plan, const Measures& measures,
                                                   const std::vector<JudgedSeries>& judged,
                                                   const FindingsSettings& settings = {});

// A feature's name for people: the measuring rooms count channels ("channel 1 step 2"), the plan names them.
[[nodiscard]] std::string planned_name_of(const Plan& plan, const std::string& feature);

// Fails if anything fails; else undecided if anything is, or if nothing planned was measured; else passes.
[[nodiscard]] Verdict overall_verdict(const std::vector<Finding>& findings, const std::vector<JudgedSeries>& judged);

}  // namespace rimwright
