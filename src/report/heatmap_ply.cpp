#include "report/heatmap_ply.h"

#include <algorithm>
#include <array>
#include <bit>
#include <cmath>
#include <cstring>

#include "report/heat_colours.h"

namespace rimwright {

static_assert(std::endian::native == std::endian::little, "numbers are written as they lie in memory");

std::string heatmap_ply(const Inspection& inspection) {
  const HeatScale scale = heat_scale_for(inspection);
  const std::vector<HeatPoint>& points = inspection.measures.heat_points;
  const auto is_on_face = [](const HeatPoint& point) { return std::isfinite(point.deviation_mm); };
  const auto count = static_cast<std::size_t>(std::count_if(points.begin(), points.end(), is_on_face));
  std::string ply =
      "ply\nformat binary_little_endian 1.0\ncomment millimetres; deviation positive = wood still to take off\n"
      "element vertex " +
      std::to_string(count) +
      "\nproperty float x\nproperty float y\nproperty float z\nproperty uchar red\nproperty uchar green\n"
      "property uchar blue\nproperty float deviation\nproperty float station\nend_header\n";
  constexpr std::size_t row_bytes = 3 * 4 + 3 + 2 * 4;
  ply.reserve(ply.size() + count * row_bytes);
  for (const HeatPoint& point : points) {
    if (!is_on_face(point)) continue;
    const Rgb colour = heat_colour(point.deviation_mm, scale.range_mm);
    std::array<char, row_bytes> row;
    std::memcpy(&row[0], point.at_scan_mm.data(), 12);
    std::memcpy(&row[12], colour.data(), 3);
    std::memcpy(&row[15], &point.deviation_mm, 4);
    std::memcpy(&row[19], &point.station_mm, 4);
    ply.append(row.data(), row.size());
  }
  return ply;
}

}  // namespace rimwright
