#include "judge/face_place.h"

#include <algorithm>
#include <cmath>

namespace rimwright {

const char* FacePlace::words() const {
  if (across_share < 1.0 / 3) return "near the lower edge";
  return across_share > 2.0 / 3 ? "near the upper edge" : "mid-face";
}

bool find_face_place(const UnrolledMap& map, double from_mm, double to_mm, int sign, FacePlace& place) {
  if (map.columns == 0 || map.rows == 0 || map.deviation_mm.size() != map.columns * map.rows) return false;
  const auto cell = [&](std::size_t row, std::size_t column) { return map.deviation_mm[row * map.columns + column]; };
  bool found = false;
  for (std::size_t column = 0; column < map.columns; ++column) {
    const double station_mm = map.first_station_mm + static_cast<double>(column) * map.station_step_mm;
    if (station_mm < from_mm || station_mm > to_mm) continue;
    std::size_t first_row = map.rows, last_row = 0;
    for (std::size_t row = 0; row < map.rows; ++row) {
      if (std::isnan(cell(row, column))) continue;
      first_row = std::min(first_row, row);
      last_row = row;
    }
    for (std::size_t row = first_row; row <= last_row && row < map.rows; ++row) {
      if (std::isnan(cell(row, column))) continue;
      double sum = 0.0;
      int count = 0;
      for (std::size_t r = row > 0 ? row - 1 : 0; r <= std::min(map.rows - 1, row + 1); ++r) {
        for (std::size_t k = column > 0 ? column - 1 : 0; k <= std::min(map.columns - 1, column + 1); ++k) {
          if (std::isnan(cell(r, k))) continue;
          sum += cell(r, k);
          ++count;
        }
      }
      const double mean = sum / count;
      if (found && sign * mean <= sign * place.deviation_mm) continue;
      found = true;
      place.deviation_mm = mean;
      place.station_mm = station_mm;
      place.across_share =
          last_row > first_row ? static_cast<double>(row - first_row) / static_cast<double>(last_row - first_row) : 0.5;
    }
  }
  return found;
}

}  // namespace rimwright
