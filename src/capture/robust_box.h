// Where the bulk of a cloud lies, strays aside.
#pragma once

#include <cstddef>

#include "core/cloud.h"

namespace rimwright {

// Box between low and high quantiles of each coordinate over at most 2^14 points spread evenly over the cloud's order.
// Offsets about the cloud's origin.
struct RobustBox {
  Vector3 low = Vector3::Zero();
  Vector3 high = Vector3::Zero();
  std::size_t sampled = 0;  // finite points that were looked at

  [[nodiscard]] double largest_extent() const { return (high - low).maxCoeff(); }
};

// `trimmed_share` of the points is left out at either end of each axis: 0.005 keeps 99 %.
[[nodiscard]] RobustBox robust_box(const Cloud& cloud, double trimmed_share);

}  // namespace rimwright
