// The end of the chain: measures held against the plan, verdicts, findings and what to do at the bench.
#pragma once

#include <string>
#include <vector>

#include "core/cloud.h"
#include "judge/judged_series.h"
#include "measure/measures.h"
#include "plan/plan.h"

namespace rimwright {

struct Worst {
  double value = 0.0;
  double u95 = 0.0;
  double limit = 0.0;
  double station_mm = 0.0;
};

// A stretch of rim on which one quantity of one feature does not pass.
struct Finding {
  std::string feature;   // "bevel", "block", or the channel's name
  std::string quantity;  // "angle", "drop", "straightness", "waviness", "deviation", "step 1 depth", ...
  double from_mm = 0.0;
  double to_mm = 0.0;
  Verdict verdict = Verdict::fail;  // fail or undecided
  Worst worst;
  std::string advice;  // for the bench, an imperative with numbers
};

struct Inspection {
  Plan plan;
  Measures measures;
  std::vector<JudgedSeries> judged;  // each quantity of each feature against the plan
  Verdict verdict = Verdict::undecided;
  std::vector<Finding> findings;  // worst first
  // The capture, without its points.
  Scale scale;
  ReadingCounts counts;
  std::vector<std::string> capture_notes;
};

}  // namespace rimwright
