// stations.csv: one row for each quantity at each station, for a spreadsheet.
//
// RFC 4180 quoting; CRLF line ends. A text cell that a spreadsheet would take for a formula (first character = + - @,
// tab or carriage return) is led by an apostrophe. Lengths mm, angles degrees. Empty value = not measured, with why.
#pragma once

#include <string>
#include <string_view>

#include "judge/inspection.h"

namespace rimwright {

[[nodiscard]] std::string stations_csv(const Inspection& inspection);

// A text cell, quoted and made harmless.
[[nodiscard]] std::string csv_cell(std::string_view text);

}  // namespace rimwright
