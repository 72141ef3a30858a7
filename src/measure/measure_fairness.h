// Fairness along the rim: waviness of the bevel face and fairness of its edges, over the stretch where the bevel is
// at its full drop (the run-outs are meant to bend).
#pragma once

#include <optional>

#include "measure/expected.h"
#include "measure/fair_curve.h"
#include "measure/grid_face.h"
#include "measure/measures.h"
#include "measure/noise_model.h"

namespace rimwright {

struct FullStretch {
  double from_mm = 0.0, to_mm = 0.0;
  double drop_mm = 0.0;  // median there
  [[nodiscard]] double length_mm() const { return to_mm - from_mm; }
};

// The longest stretch between run-outs, whose ends are judged from how steeply they leave the full drop. Nothing where
// fewer than 10 stations remain.
[[nodiscard]] std::optional<FullStretch> full_stretch(const std::vector<BevelStation>& stations);

// Standard uncertainty of an edge's place (drop_mm or top_reach_mm) beyond which a station's edge does not count for
// fairness or for the target: three times the median, but not less than 0.05 mm. A hump or hollow beside the edge makes
// where the face would run unsure there.
[[nodiscard]] double trusted_u(const std::vector<BevelStation>& stations, Measured BevelStation::*edge);

void measure_fairness(BevelMeasures& bevel, const UnrolledRim& rim, const FittedRim& fitted, const FaceGrid& grid,
                      const ExpectedBevel& expected, const NoiseModel& noise, const FairRim& fair);

}  // namespace rimwright
