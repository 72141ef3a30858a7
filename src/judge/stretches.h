// Joins stations into stretches of rim that fail or stay undecided.
//
// The rule, in words:
// 1. A stretch fails when its own evidence does: at some length of window, from one station to the whole rim, the mean
//    excess over a limit is larger than chance would show anywhere on more than `family_alpha` of bodies that sit
//    exactly on the limit (evidence.h). Of the mean's uncertainty only the point noise shrinks, by the root of
//    the number of independent stations; what stations share does not.
// 2. A failing stretch reaches as far as the values stay outside the limit (a running mean of three), and stretches
//    closer than `merge_gap_mm` are one; so are two with nothing measured between them, up to `bridge_mm` apart.
// 3. What remains and does not pass by itself (ISO 14253-1) is undecided, joined in the same way. The passage from a
//    failing stretch into tolerance, at most `passage_mm` long, belongs to the stretch.
// 4. A short lone run that does not pass is dropped when its surroundings pass with their pooled uncertainty and the
//    run stands out from them by no more than chance explains among that many stations. Over a run longer than
//    `lone_run_mm` what the face's own form makes unsure is no chance.
#pragma once

#include <vector>

#include "judge/compare.h"

namespace rimwright {

struct StretchSettings {
  double family_alpha = 0.025;  // share of bodies on the limit that may be called out of tolerance, for a quantity
  double merge_gap_mm = 6.0;    // closer stretches are one defect
  double bridge_mm = 40.0;   // and so are two failing stretches with no measured station between them, no farther apart
  double passage_mm = 12.0;  // undecided stations this close to a failing stretch are its edge
  double lone_run_mm = 5.0;  // longer runs are never taken for chance
  double pool_half_width_mm = 10.0;  // surroundings that must pass around a lone run
};

struct Stretch {
  double from_mm = 0.0;
  double to_mm = 0.0;
  Verdict verdict = Verdict::fail;  // fail or undecided
  std::size_t worst = 0;            // index into the series' stations
  bool above = false;               // beyond (or nearest) the upper limit rather than the lower
};

// In order of station. A series of one number for the whole bevel gives a stretch of no length at its station.
[[nodiscard]] std::vector<Stretch> find_stretches(const JudgedSeries& series, const StretchSettings& settings = {});

}  // namespace rimwright
