// Add points: those of the rim that lie on a face at one station, to the moments of its slice.
//
// Points are chosen by their place along the face (t), which their noise does not move, then by the gate about the
// span's line. In floats about the rim's own frame: a millionth of 100 mm is far below any noise.
#pragma once

#include <optional>

#include "measure/face_moments.h"
#include "measure/face_spans.h"
#include "rim/even_share.h"
#include "rim/unroll.h"

namespace rimwright {

// The quadric top across the rim: height = rise out + bend out^2 / 2, mm. Between the sections at both ends of a
// station's slice it is linear to far below a micrometre.
struct SectionDome {
  double rise = 0.0, bend = 0.0;
};

// A face at one station: where its points lie and what is taken off their height.
struct FaceAtStation {
  const FaceSpan& span;
  Vector2 along, normal;                    // of the face, (out, up)
  double station_mm = 0.0, step_mm = 1.0;   // middle and length of the station's slice
  double from_slope = 0.0, to_slope = 0.0;  // how far the span's ends in t move a millimetre of rim
  const SectionDome* domes = nullptr;       // of the top: two, at both ends of the slice
  bool line_holds_dome = false;             // whether the span's line follows the dome, so that the gate need not
  std::optional<double> spare_along_mm =
      std::nullopt;  // of a ledge: how far along the profile points may leave the span
};

// Those of the span beyond its gate count as rejected.
void add_points(SliceMoments& moments, const UnrolledRim& rim, const EvenShare& points, const FaceAtStation& face);

}  // namespace rimwright
