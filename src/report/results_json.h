// results.json (format rimwright-results/1): the keys other programs depend on, in a fixed order.
//
// Lengths are millimetres and angles degrees whatever the plan's units. Values are rounded to 1e-5, far below any
// uncertainty, so that the bytes are the same for any number of threads. What was not measured is null, with its reason
// in "why_null". Extra keys: inputs, plan, gaps, notes, budgets, counts.
#pragma once

#include <string>

#include "judge/inspection.h"
#include "report/context.h"

namespace rimwright {

[[nodiscard]] std::string results_json(const Inspection& inspection, const ReportContext& context);

// The same results twice: a value a line for the file, and unbroken for the page.
struct ResultsText {
  std::string lines, compact;
};
[[nodiscard]] ResultsText results_text(const Inspection& inspection, const ReportContext& context);

}  // namespace rimwright
