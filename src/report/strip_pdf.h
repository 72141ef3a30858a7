// strip.pdf: the unrolled bevel and the channels at exactly 1:1, to tape along the rim and work from.
//
// A4 landscape, or Letter for plans in inches; segments of 240 mm one below the other, each with 10 mm of the next to
// overlap, station ticks, the numbers of the things to do and a check bar of 100 mm on each page. Fonts are embedded.
#pragma once

#include <string>

#include "core/refusal.h"
#include "judge/inspection.h"

namespace rimwright {

[[nodiscard]] Outcome<std::string> strip_pdf(const Inspection& inspection);

}  // namespace rimwright
