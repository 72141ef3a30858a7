// Pictures of sections for the eye, and the stretches that could not be measured, in words.
#pragma once

#include "measure/measure_bevel.h"
#include "measure/measures.h"

namespace rimwright {

// One picture every second station: at most `most_points` points of the rim's slice there, about the rim corner.
[[nodiscard]] std::vector<SectionPicture> picture_sections(const UnrolledRim& rim, const FittedRim& fitted,
                                                           std::size_t most_points);

// Stretches of at least 3 mm where a planned feature stands but a quantity is null.
[[nodiscard]] std::vector<Gap> find_gaps(const BevelMeasures& bevel, const std::vector<ChannelMeasures>& channels);

}  // namespace rimwright
