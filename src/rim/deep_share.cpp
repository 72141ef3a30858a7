#include "rim/deep_share.h"

#include <algorithm>
#include <vector>

namespace rimwright {

DeepShare deep_share(const Cloud& cloud, const RimPlaces& places, double deep_mm, double length_mm,
                     const UnrollSettings& settings) {
  constexpr std::size_t most_sampled = 16'384;
  const std::size_t step = cloud.size() / most_sampled + 1;
  const std::size_t count = (cloud.size() + step - 1) / step;
  std::vector<float> x(count), y(count), z(count), station(count), out(count), up(count);
  for (std::size_t k = 0; k < count; ++k) {
    x[k] = cloud.x[k * step];
    y[k] = cloud.y[k * step];
    z[k] = cloud.z[k * step];
  }
  places.find(x, y, z, station, out, up);
  const auto deep =
      std::count_if(up.begin(), up.end(), [deep_mm](float up_mm) { return static_cast<double>(up_mm) < -deep_mm; });
  const double deep_a_mm = static_cast<double>(deep) * static_cast<double>(step) / length_mm;
  return {deep_mm, std::max<std::size_t>(1, static_cast<std::size_t>(deep_a_mm / settings.deep_points_a_mm))};
}

}  // namespace rimwright
