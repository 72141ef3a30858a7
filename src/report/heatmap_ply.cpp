#include "report/heatmap_ply.h"

#include <bit>
#include <cmath>
#include <cstring>

#include "report/heat_colours.h"

namespace rimwright {

static_assert(std::endian::native == std::endian::little, "numbers are written as they lie in memory");

std::string heatmap_ply(const Inspection& inspection) {
  const HeatScale scale = heat_scale_for(inspection);
  constexpr std::size_t row_bytes = 3 * 4 + 3 + 2 * 4;
  std::string rows;
  rows.reserve(inspection.measures.heat_points.size() * row_bytes);
  std::size_t count = 0;
  const auto put = [&](float value) {
    char bytes[sizeof value];
    std::memcpy(bytes, &value, sizeof value);
    rows.append(bytes, sizeof value);
  };
  for (const HeatPoint& point : inspection.measures.heat_points) {
    if (!std::isfinite(point.deviation_mm)) continue;
    for (int axis = 0; axis < 3; ++axis) put(point.at_scan_mm[axis]);
    for (const std::uint8_t part : heat_colour(point.deviation_mm, scale.range_mm)) rows += static_cast<char>(part);
    put(point.deviation_mm);
    put(point.station_mm);
    ++count;
  }
  std::string ply =
      "ply\nformat binary_little_endian 1.0\ncomment millimetres; deviation positive = wood still to take off\n"
      "element vertex " +
      std::to_string(count) +
      "\nproperty float x\nproperty float y\nproperty float z\nproperty uchar red\nproperty uchar green\n"
      "property uchar blue\nproperty float deviation\nproperty float station\nend_header\n";
  return ply.append(rows);
}

}  // namespace rimwright
