// Square up: which way is up, settled by the side.
//
// A domed top seen in part leans: its mean normal is not the axis that the side was bent round. The outward normals of
// a side of constant lean l satisfy n . up = sin l all around, so up follows by least squares from a side that turns;
// the top's mean normal stays as a prior, as wide as the seen dome may tilt it.
#pragma once

#include "rim/orient.h"

namespace rimwright {

struct SquareUp {
  Vector3 up_body = Vector3::UnitZ();  // in the frame of the hypothesis
  double tilt_u_rad = 0.0;
};

[[nodiscard]] SquareUp square_up(const SurfaceCells& cells, const Orientation& o, const OrientSettings& settings);

}  // namespace rimwright
