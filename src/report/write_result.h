// Writes everything an inspection leaves behind into one folder, whole or not at all.
#pragma once

#include <string>

#include "core/parallel.h"
#include "core/refusal.h"
#include "judge/inspection.h"
#include "report/context.h"

namespace rimwright {

// results.json, stations.csv, heatmap.png, heatmap.ply, faces.ply, report.html, strip.pdf and summary.pdf; several at a
// time where there are threads for it.
[[nodiscard]] Outcome<void> write_result(const Inspection& inspection, const ReportContext& context,
                                         const std::string& folder, Workers& workers);

}  // namespace rimwright
