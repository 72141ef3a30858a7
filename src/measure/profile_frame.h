// The profile frame: a section turned by 45 degrees, so that side, bevel, top and every ledge are one function
// height(along). along grows from the side up to the top; the rim corner lies at 0.
#pragma once

#include <cmath>
#include <numbers>

#include "core/frames.h"

namespace rimwright {

inline double profile_along(double out_mm, double up_mm) { return (up_mm - out_mm) * (0.5 * std::numbers::sqrt2); }
inline double profile_height(double out_mm, double up_mm) { return (up_mm + out_mm) * (0.5 * std::numbers::sqrt2); }
inline Vector2 out_up_from_profile(double along_mm, double height_mm) {
  return {(height_mm - along_mm) / std::numbers::sqrt2, (height_mm + along_mm) / std::numbers::sqrt2};
}
// Slope of the height for a direction given as the angle from the side's upward direction towards the inside:
// 0 for an upright face (slope 1), 90 degrees for a level one (slope -1).
inline double profile_slope(double from_upright_rad) { return std::tan(std::numbers::pi / 4 - from_upright_rad); }

}  // namespace rimwright
