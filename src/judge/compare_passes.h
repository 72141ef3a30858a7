// Two passes of one instrument: what came off, what is left, what became of each finding, and how many more passes like
// the last it would take.
#pragma once

#include <optional>
#include <string>
#include <vector>

#include "judge/align_passes.h"
#include "judge/finding_progress.h"
#include "judge/removal_map.h"

namespace rimwright {

struct ComparePassesSettings {
  AlignPassesSettings align;
  RemovalSettings removal;
  double stretch_mm = 10.0;  // of rim, for the table of what came off
};

// What came off a stretch of one face.
struct RemovalStretch {
  FaceKind kind = FaceKind::bevel;
  double from_mm = 0.0, to_mm = 0.0;  // stations of the later pass
  double removed_mm = 0.0;            // mean over its cells
  double u95_mm = 0.0;                // of the mean; the alignment does not average out
  double most_removed_mm = 0.0;       // of its cells
  std::size_t cells = 0;
  // Worth a line: of some hundred stretches two or three lie outside U95 by chance, hardly one outside 1.5 U95.
  [[nodiscard]] bool came_off() const { return removed_mm > 1.5 * u95_mm; }
};

struct PassesLeft {
  double left_mm = 0.0;       // wood still to take off, at the fullest places (95 % of cells lie below)
  double last_pass_mm = 0.0;  // what the last pass took off where it worked (median of cells)
  int passes = 0;             // left / last, rounded up
};

struct PassComparison {
  std::optional<PassAlignment> alignment;  // absent: only findings were compared
  std::string no_map_because;              // why there is no map
  double station_shift_mm = 0.0;           // later station + shift = earlier station
  std::vector<RemovalCell> cells;
  std::vector<RemovalStretch> stretches;
  double tell_mm = 0.0;  // the smallest removal a cell can tell: median U95; 0 without a map
  std::vector<FindingProgress> progress;
  std::optional<PassesLeft> passes_left;
  std::string passes_left_note;    // why there is no estimate
  std::vector<std::string> notes;  // what a reader should know
};

// Refused when the passes have faces that do not align. When a pass has no faces, findings alone are compared.
[[nodiscard]] Outcome<PassComparison> compare_passes(const Pass& before, const Pass& after,
                                                     const ComparePassesSettings& settings = {});

}  // namespace rimwright
