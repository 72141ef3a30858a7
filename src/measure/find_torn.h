// Torn wood: small sharp pits in a face, which averages over the face's width hide.
//
// Cells that lie below the median of their neighbourhood beyond what noise explains are joined; what is small in both
// directions is torn wood (larger hollows are the face's form, which straightness and the map tell).
#pragma once

#include "measure/grid_face.h"
#include "measure/measures.h"
#include "measure/noise_model.h"

namespace rimwright {

struct TornSettings {
  double least_depth_mm = 0.15;  // shallower is scraped away in finishing
  double sigmas = 5.0;           // of a cell's mean
  double longest_mm = 14.0;      // along the rim; longer is form
  double widest_mm = 12.0;       // across
  double smallest_mm2 = 4.0;     // a few cells alike, not one
};

[[nodiscard]] std::vector<TornPlace> find_torn(const FaceGrid& grid, const FaceFits& face, const NoiseModel& noise,
                                               const TornSettings& settings);

// The same on side, bevel and top, which are searched side by side; in that order.
[[nodiscard]] std::vector<TornPlace> find_torn_places(const UnrolledRim& rim, const FittedRim& fitted,
                                                      const NoiseModel& noise, const TornSettings& settings,
                                                      Workers& workers);

}  // namespace rimwright
