// The diverging colours of deviation: blue = too deep, near-white = on the target, orange-brown = wood to take off.
//
// Blue and orange stay apart for every common kind of colour blindness, both ends are equally dark, and the sign is
// drawn by hatch as well, so that a grey print keeps it.
#pragma once

#include <array>
#include <cstdint>

#include "judge/inspection.h"

namespace rimwright {

using Rgb = std::array<std::uint8_t, 3>;

struct HeatScale {
  double limit_mm = 0.2;        // contours are drawn at plus and minus this, and hatch beyond it
  double range_mm = 0.6;        // the colours end here
  const char* limit_name = "";  // the plan's limit it comes from, for the legend
};

// The limit is the plan's straightness, else its waviness, else 0.2 mm. The range holds 99 % of the map, between two
// and ten limits, rounded up to a tenth.
[[nodiscard]] HeatScale heat_scale_for(const Inspection& inspection);

// Clamped to the range; NaN gives the grey of 'not measured'.
[[nodiscard]] Rgb heat_colour(double deviation_mm, double range_mm);

}  // namespace rimwright
