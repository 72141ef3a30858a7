// The whole job: a cloud and a plan to an inspection. Read this first.
#pragma once

#include "core/cloud.h"
#include "core/parallel.h"
#include "judge/compare.h"
#include "judge/findings.h"
#include "judge/inspection.h"
#include "pipelines/measure_rim.h"
#include "plan/plan.h"

namespace rimwright {

struct InspectSettings {
  MeasureRimSettings measure;
  CompareSettings compare;
  FindingsSettings findings;
};

// Refuses what measure_rim refuses: a scan without a top, a side or a rim. Everything else that cannot be measured is
// in the inspection, null with its reason.
[[nodiscard]] Outcome<Inspection> inspect_scan(Cloud cloud, const Plan& plan, const InspectSettings& settings,
                                               Workers& workers);

// The plan in the measuring room's words.
[[nodiscard]] Expected expected_from(const Plan& plan);

}  // namespace rimwright
