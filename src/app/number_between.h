// A check of options that are numbers.
#pragma once

#include <CLI/CLI.hpp>

namespace rimwright {

// As CLI::Range, which lets NaN pass.
[[nodiscard]] CLI::Validator number_between(double low, double high);

}  // namespace rimwright
