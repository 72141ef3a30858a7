// summary.pdf: one sheet for the bench wall: verdict, the things to do, where they are on the rim, the face, cautions.
#pragma once

#include <string>

#include "core/refusal.h"
#include "judge/inspection.h"
#include "report/context.h"

namespace rimwright {

[[nodiscard]] Outcome<std::string> summary_pdf(const Inspection& inspection, const ReportContext& context);

}  // namespace rimwright
