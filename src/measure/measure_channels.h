// Width and depth of every step of every planned channel, at every station where the channel is.
#pragma once

#include "measure/expected.h"
#include "measure/measure_bevel.h"

namespace rimwright {

[[nodiscard]] std::vector<ChannelMeasures> measure_channels(const UnrolledRim& rim, const FittedRim& fitted,
                                                            const Expected& expected, const NoiseModel& noise,
                                                            const CaptureTerms& terms);

}  // namespace rimwright
