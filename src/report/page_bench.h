// What the bench does next, for the page: the plan's strips with their dry fit, where each feature runs along the rim,
// what a sanding block would do, the checklist before glue and the strips to cut.
#pragma once

#include <nlohmann/json_fwd.hpp>

#include "judge/inspection.h"
#include "report/context.h"

namespace rimwright {

// Adds the keys fullest_mm, extents, channels, fits, sanding, glue and cut; lengths in mm, stations as in results.json.
void add_bench_facts(const Inspection& inspection, const ReportContext& context, nlohmann::ordered_json& page);

}  // namespace rimwright
