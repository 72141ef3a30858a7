// Add points: those of the rim that lie on a face at one station, to the moments of its slice.
//
// Points are chosen by their place along the face (t), which their noise does not move, then by the gate about the
// span's line.
#pragma once

#include "measure/face_moments.h"
#include "measure/face_run.h"

namespace rimwright {

// Those of the span beyond its gate count as rejected.
void add_points(SliceMoments& moments, const UnrolledRim& rim, const EvenShare& points, const FaceAtStation& face);

}  // namespace rimwright
