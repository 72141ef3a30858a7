// Numbers as a builder reads them, in the units of the plan.
#pragma once

#include <string>

#include "plan/plan.h"

namespace rimwright {

// "0.43 mm" or "0.017 in": two decimals of a millimetre, three of an inch; never "-0.00".
[[nodiscard]] std::string length_words(double length_mm, LengthUnit units);
// "1.5 deg"; one decimal, two below a tenth.
[[nodiscard]] std::string angle_words(double angle_deg);
// A place along the rim: whole millimetres, or tenths of an inch: "210 mm".
[[nodiscard]] std::string station_words(double station_mm, LengthUnit units);
// "from 20 to 61 mm", or "around 210 mm" for a stretch shorter than 10 mm.
[[nodiscard]] std::string stretch_words(double from_mm, double to_mm, LengthUnit units);

}  // namespace rimwright
