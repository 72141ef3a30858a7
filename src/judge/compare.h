// Holds every measured quantity against the plan, station by station.
//
// The rule is ISO 14253-1 read both ways: a quantity passes where its whole U95 interval lies within the limits, fails
// where the whole interval lies outside one of them, and is undecided between.
#pragma once

#include <vector>

#include "judge/judged_series.h"
#include "measure/measures.h"
#include "plan/plan.h"

namespace rimwright {

// Limits may be infinite: a one-sided limit. Passes only when value +- u95 lies within [lower, upper].
[[nodiscard]] Verdict verdict_of(double value, double u95, double lower, double upper);

// The stretch where the bevel is at its fullest, between its run-outs, on which the least drop is asked for.
// Empty (from > to) where it cannot be told. A bevel that still grows where the scan ends is not seen at its fullest.
struct FullestStretch {
  double from_mm = 0.0;
  double to_mm = -1.0;
  [[nodiscard]] bool is_known() const { return from_mm <= to_mm; }
};

// The level at which most of the bevel runs is the peak of the density of its drops in their upper half; the stretch
// reaches from the first to the last station that attains it within its U95. `upper_limit` is the plan's.
[[nodiscard]] FullestStretch find_fullest(const std::vector<BevelStation>& stations, double upper_limit_mm);

struct CompareSettings {
  // Within this of where a channel begins or ends it is measured but not held against the plan: the cutter leaves a
  // round end and the ledge fades into the bevel there, and it is finished by hand.
  double channel_end_mm = 6.0;
  // Where the bevel drops less than this its face is not held to the angle and the straightness: across so narrow a
  // face a degree is a tenth of a millimetre.
  double least_drop_mm = 5.0;
};

[[nodiscard]] std::vector<JudgedSeries> compare(const Plan& plan, const Measures& measures,
                                                const CompareSettings& settings = {});

}  // namespace rimwright
