// The cheapest way to make a dry fit sit as planned, stretch by stretch, each with its number.
//
// What a stretch needs follows from the plan's tolerances: the whole U95 interval outside a limit asks for a mend, an
// interval across a limit for a better look. Which mend is cheapest is common practice, no source: leave what levelling
// takes off; else change a strip when one change serves most of the channel; else cut or shim the wood.
#pragma once

#include <vector>

#include "judge/dry_fit.h"

namespace rimwright {

[[nodiscard]] std::vector<Mend> cheapest_mends(const PlannedChannel& planned, const std::vector<StationFit>& stations,
                                               const DryFitSettings& settings);

}  // namespace rimwright
