// What became of each finding between two passes of one instrument.
#pragma once

#include <string>
#include <vector>

#include "judge/pass.h"

namespace rimwright {

enum class Progress {
  gone,          // was a finding, is none now, and the place was measured
  smaller,       // still a finding, nearer its limit by more than both passes' U95 explain
  unchanged,     // the difference is below what both passes can tell
  worse,         // further from its limit, likewise
  new_here,      // was none before, and changed by more than both can tell
  not_seen_now,  // the later pass did not measure there
};
[[nodiscard]] std::string_view name_of(Progress progress);

struct FindingProgress {
  Progress progress = Progress::unchanged;
  Finding finding;      // the later one, or the earlier one when it is gone or not seen; stations of its own pass
  double was_mm = 0.0;  // how far outside its limit at worst, earlier; NaN when it was none; deg for angles
  double is_mm = 0.0;   // the same, later
  double u95_mm = 0.0;  // of the difference
  std::string sentence;
};

// station_shift_mm: a place at station s of the later pass has station s + shift in the earlier one.
[[nodiscard]] std::vector<FindingProgress> finding_progress(const Pass& before, const Pass& after,
                                                            double station_shift_mm);

}  // namespace rimwright
