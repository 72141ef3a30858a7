// stations.csv: one row for each quantity at each station, for a spreadsheet.
//
// RFC 4180 quoting; CRLF line ends. What a spreadsheet would take for a formula (a cell, or a part of one behind a
// separator, that begins with = + - @, their full-width forms, tab, line end or NUL; OWASP ASVS 1.2.10) is led by an
// apostrophe. Lengths mm, angles degrees. Empty value = not measured, with why.
#pragma once

#include <string>
#include <string_view>

#include "judge/inspection.h"

namespace rimwright {

[[nodiscard]] std::string stations_csv(const Inspection& inspection);

// A text cell, quoted and made harmless.
[[nodiscard]] std::string csv_cell(std::string_view text);

}  // namespace rimwright
