// The cut list: how long each strip must be, from the measured rim.
//
// A strip is as long as the line it lies on: the rim moved in by the strip's middle (top-side), the bevel's upper edge
// (top-bevel) or lower edge (side-bevel), measured along the curve. For a smooth curve of total turning T moved inwards
// by d the length shrinks by d T (Steiner's formula for parallel curves); the list follows the measured curve itself.
#pragma once

#include <cstddef>
#include <string>
#include <vector>

#include "judge/inspection.h"

namespace rimwright {

struct CutListSettings {
  double allowance_mm = 10.0;       // at each end, for fitting; common practice, no source
  double longest_unseen_mm = 60.0;  // a shorter stretch that was not seen is taken to go on as its ends do
  double join_within_mm = 8.0;      // stations further apart than this are a break in the channel
};

struct CutPiece {
  std::size_t planned_channel = 0, strip = 0;  // indices into the plan
  double from_mm = 0.0, to_mm = 0.0;           // stations; to < from when the piece runs past the rim's start
  Measured length_mm;                          // along the strip's own line, without allowance
  double cut_mm = 0.0;                         // length + U95 + allowance at both ends, rounded up to a millimetre
  bool closed = false;                         // runs round the whole rim; its ends meet
  std::string note;                            // "12 mm of it was not seen"; usually empty
};

struct CutList {
  std::vector<CutPiece> pieces;    // in the plan's order, then by station
  std::vector<std::string> notes;  // what could not be listed, and why
};

// Channels are split where they end, which is where the bevel interrupts them; a stretch that was merely not seen does
// not split a strip. `scale` gives the uncertainty common to all lengths.
[[nodiscard]] CutList cut_list(const Plan& plan, const Measures& measures, const Scale& scale,
                               const CutListSettings& settings = {});

}  // namespace rimwright
