// The bevel face against its target: the face that has the planned angle and passes through the faired lower edge.
// Deviation is signed along the target's normal; positive = wood still to take off.
#pragma once

#include "measure/expected.h"
#include "measure/grid_face.h"
#include "measure/measure_bevel.h"
#include "measure/measure_fairness.h"
#include "measure/measures.h"

namespace rimwright {

// The target in one section.
struct TargetFace {
  bool known = false;
  Vector2 edge_mm = Vector2::Zero();  // faired lower edge, (out, up)
  Vector2 along = Vector2::UnitY(), normal = Vector2::UnitX();
  double edge_u_mm = 0.0;  // standard uncertainty of the edge square to the target
};

// One a station of `fitted`.
[[nodiscard]] std::vector<TargetFace> target_faces(const UnrolledRim& rim, const FittedRim& fitted,
                                                   const BevelMeasures& bevel, const ExpectedBevel& expected);

[[nodiscard]] UnrolledMap map_deviation(const FittedRim& fitted, const FaceGrid& grid,
                                        const std::vector<TargetFace>& targets, const NoiseModel& noise);

}  // namespace rimwright
