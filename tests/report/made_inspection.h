// An inspection made by hand for the report's tests: an invented instrument whose rim is an arc, with a bevel between
// two run-outs, an edge channel at both ends and a purfling along the upper edge, and some defects. No scan is behind
// it; numbers are closed forms plus seeded noise.
#pragma once

#include "judge/inspection.h"
#include "report/context.h"

namespace rimwright {

struct MadeSettings {
  bool with_defects = true;
  bool undecided_depths = false;  // uncertainty too large for the channel's tolerance
  LengthUnit units = LengthUnit::mm;
  double noise_mm = 0.03;
  double rim_mm = 460.0;
};

[[nodiscard]] Inspection made_inspection(const MadeSettings& settings = {});
[[nodiscard]] ReportContext made_context();

}  // namespace rimwright
