// What two passes of one instrument say of each other, for people and for programs.
#pragma once

#include <string>
#include <vector>

#include "core/refusal.h"
#include "judge/compare_passes.h"

namespace rimwright {

// For standard output: verdicts, what came off, what is left, progress of the findings.
[[nodiscard]] std::string comparison_text(const Pass& before, const Pass& after, const PassComparison& comparison);

// Format "rimwright-comparison/1"; millimetres. Cells are given as columns to keep the file small.
[[nodiscard]] std::string comparison_json(const Pass& before, const Pass& after, const PassComparison& comparison);

// The bevel unrolled twice, one over the other: what came off, and what is left. Empty when there is no map.
[[nodiscard]] std::string removal_png(const PassComparison& comparison);

// The cells as points in the later scan's frame, coloured, with `removal`, `u95` and `left` properties.
[[nodiscard]] std::string removal_ply(const PassComparison& comparison);

// One page that opens offline and runs no scripts.
[[nodiscard]] std::string comparison_page(const Pass& before, const Pass& after, const PassComparison& comparison,
                                          const std::string& removal_png_bytes);

// compare.json, compare.html, removal.png and removal.ply in a folder, whole or not at all.
[[nodiscard]] Outcome<void> write_comparison(const Pass& before, const Pass& after, const PassComparison& comparison,
                                             const std::string& folder);
[[nodiscard]] const std::vector<std::string>& comparison_file_names();

}  // namespace rimwright
