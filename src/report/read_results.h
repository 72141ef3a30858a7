// Reads a result folder back: results.json (format rimwright-results/1) and, when present, faces.ply.
//
// Strict about what it uses and silent about extra keys. Refused: another format, wrong types, numbers that are not
// finite, more than the stated limits. Text from the file is data and never a path.
#pragma once

#include <string>
#include <string_view>

#include "core/refusal.h"
#include "judge/pass.h"

namespace rimwright {

// Limits: results.json 64 MiB, nested 16 deep, 4 million values, 100 000 stations a table, 10 000 findings, 64 channels
// of 16 steps, 4000 bytes a text.
[[nodiscard]] Outcome<Pass> read_results(const std::string& folder);

// results.json alone, from text.
[[nodiscard]] Outcome<Pass> read_results_text(std::string_view json, std::string_view name);

}  // namespace rimwright
