// heatmap.png: the unrolled face from edge to edge, in bands of at most 300 mm one below the other, with station ticks,
// the zero and the limits marked, and the findings' stretches numbered as in the report.
#pragma once

#include <string>

#include "core/refusal.h"
#include "judge/inspection.h"

namespace rimwright {

// The bytes of the PNG. A plan without a bevel, or a scan that shows none, gives a picture that says so.
[[nodiscard]] Outcome<std::string> heatmap_png(const Inspection& inspection);

}  // namespace rimwright
