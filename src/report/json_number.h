// Numbers of the pages: a tenth of a micrometre is far below what any scan tells; NaN becomes null.
#pragma once

#include <cmath>
#include <nlohmann/json.hpp>

#include "core/measured.h"

namespace rimwright {

[[nodiscard]] inline nlohmann::ordered_json number(double value) {
  if (!std::isfinite(value)) return nullptr;
  return std::round(value * 1e4) / 1e4;
}
[[nodiscard]] inline nlohmann::ordered_json number(const Measured& measured) { return number(measured.value); }

}  // namespace rimwright
