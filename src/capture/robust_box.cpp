#include "capture/robust_box.h"

#include <algorithm>
#include <array>
#include <cmath>
#include <vector>

namespace rimwright {

RobustBox robust_box(const Cloud& cloud, double trimmed_share) {
  constexpr std::size_t most_samples = std::size_t{1} << 14;
  const std::size_t step = std::max<std::size_t>(1, cloud.size() / most_samples);
  std::array<std::vector<float>, 3> axes;
  for (std::size_t i = 0; i < cloud.size(); i += step) {
    if (!std::isfinite(cloud.x[i]) || !std::isfinite(cloud.y[i]) || !std::isfinite(cloud.z[i])) continue;
    axes[0].push_back(cloud.x[i]);
    axes[1].push_back(cloud.y[i]);
    axes[2].push_back(cloud.z[i]);
  }
  RobustBox box;
  box.sampled = axes[0].size();
  if (box.sampled == 0) return box;
  const auto rank = static_cast<std::size_t>(trimmed_share * static_cast<double>(box.sampled));
  for (int axis = 0; axis < 3; ++axis) {
    auto& values = axes[static_cast<std::size_t>(axis)];
    const auto low = values.begin() + static_cast<std::ptrdiff_t>(std::min(rank, box.sampled - 1));
    std::nth_element(values.begin(), low, values.end());
    box.low[axis] = static_cast<double>(*low);
    const auto high = values.begin() + static_cast<std::ptrdiff_t>(box.sampled - 1 - std::min(rank, box.sampled - 1));
    std::nth_element(values.begin(), high, values.end());
    box.high[axis] = static_cast<double>(*high);
  }
  return box;
}

}  // namespace rimwright
