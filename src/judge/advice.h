// Advice for the bench: an imperative with numbers and the right sign, from one stretch of one quantity.
#pragma once

#include <string>

#include "judge/compare.h"
#include "judge/stretches.h"

namespace rimwright {

// What to do about a stretch that fails. Wood can be taken off; what is cut too deep must be faired down to or built
// up, and the advice says what room the block leaves for that.
[[nodiscard]] std::string advise_failing(const Plan& plan, const Measures& measures, const JudgedSeries& series,
                                         const Stretch& stretch);

// What would decide a stretch that is undecided: how much smaller U95 must become, and by which means, from the
// station's uncertainty budget.
[[nodiscard]] std::string advise_undecided(const Plan& plan, const JudgedSeries& series, const Stretch& stretch);

}  // namespace rimwright
