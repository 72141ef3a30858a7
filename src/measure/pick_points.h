// Pick points: those of a scan that are shown in pictures, and those a later pass is compared with.
#pragma once

#include "measure/map_deviation.h"

namespace rimwright {

// Points near the rim, every n-th so that at most `most` remain, and of those that lie elsewhere than on the bevel face
// about 200 000; deviation on the bevel face, NaN elsewhere.
[[nodiscard]] std::vector<HeatPoint> heat_points(const UnrolledRim& rim, const FittedRim& fitted,
                                                 const std::vector<TargetFace>& targets, const CaptureTerms& terms,
                                                 std::size_t most, Workers& workers);

// Every n-th point that lies on a fitted face, so that at most `most` remain: what a later pass is compared with.
[[nodiscard]] std::vector<FacePoint> face_points(const UnrolledRim& rim, const FittedRim& fitted,
                                                 const std::vector<TargetFace>& targets, const CaptureTerms& terms,
                                                 const NoiseModel& noise, std::size_t most, Workers& workers);

}  // namespace rimwright
