// Groups findings into the numbered things to do that every page, picture and sheet of a report shares.
#pragma once

#include <cstddef>
#include <vector>

#include "judge/inspection.h"

namespace rimwright {

// Findings of one feature and verdict that cover much the same stretch are one job: a hump shows in straightness,
// angle and drop at once; so are all stretches of one feature that were not seen. The first is the worst; the others
// are said with it.
struct Job {
  int number = 1;  // from 1, in the order of the findings
  Verdict verdict = Verdict::fail;
  std::vector<std::size_t> findings;  // indices into Inspection::findings, nearest the cause first
};

// Two stretches are one place when they share at least 40 % of the rim that either covers.
[[nodiscard]] std::vector<Job> jobs_of(const std::vector<Finding>& findings);

}  // namespace rimwright
