#include "report/contours.h"

#include <algorithm>
#include <cmath>

namespace rimwright {

UnrolledMap smoothed_map(const UnrolledMap& map, double half_mm) {
  UnrolledMap smooth = map;
  if (map.deviation_mm.size() != map.columns * map.rows || map.rows == 0) return smooth;
  const auto half_rows = static_cast<std::size_t>(std::lround(half_mm / map.across_step_mm));
  const auto half_columns = static_cast<std::size_t>(std::lround(half_mm / map.station_step_mm));
  for (std::size_t row = 0; row < map.rows; ++row) {
    for (std::size_t column = 0; column < map.columns; ++column) {
      if (std::isnan(map.deviation_mm[row * map.columns + column])) continue;
      double sum = 0.0;
      int count = 0;
      for (std::size_t r = row > half_rows ? row - half_rows : 0; r <= std::min(map.rows - 1, row + half_rows); ++r) {
        for (std::size_t c = column > half_columns ? column - half_columns : 0;
             c <= std::min(map.columns - 1, column + half_columns); ++c) {
          const double deviation = map.deviation_mm[r * map.columns + c];
          if (std::isnan(deviation)) continue;
          sum += deviation;
          ++count;
        }
      }
      smooth.deviation_mm[row * map.columns + column] = static_cast<float>(sum / count);
    }
  }
  return smooth;
}

std::vector<Segment> contour_segments(const UnrolledMap& map, double level_mm) {
  std::vector<Segment> segments;
  if (map.columns < 2 || map.rows < 2 || map.deviation_mm.size() != map.columns * map.rows) return segments;
  const auto place = [&](double row, double column) {
    return Vector2(map.first_station_mm + column * map.station_step_mm, map.first_across_mm + row * map.across_step_mm);
  };
  for (std::size_t row = 0; row + 1 < map.rows; ++row) {
    for (std::size_t column = 0; column + 1 < map.columns; ++column) {
      // Corners in turn round the square.
      const std::array<std::array<std::size_t, 2>, 4> corner{
          {{row, column}, {row, column + 1}, {row + 1, column + 1}, {row + 1, column}}};
      std::array<double, 4> v{};
      bool whole = true;
      for (std::size_t k = 0; k < 4; ++k) {
        v[k] = map.deviation_mm[corner[k][0] * map.columns + corner[k][1]] - level_mm;
        whole = whole && std::isfinite(v[k]);
      }
      if (!whole) continue;
      std::array<Vector2, 4> crossing;
      std::size_t count = 0;
      for (std::size_t k = 0; k < 4; ++k) {
        const std::size_t next = (k + 1) % 4;
        if ((v[k] > 0) == (v[next] > 0)) continue;
        const double t = v[k] / (v[k] - v[next]);
        const auto along = [&](std::size_t axis) {
          return static_cast<double>(corner[k][axis]) * (1 - t) + static_cast<double>(corner[next][axis]) * t;
        };
        crossing[count++] = place(along(0), along(1));
      }
      if (count == 2) segments.push_back({crossing[0], crossing[1]});
      if (count == 4) {
        const bool middle_above = v[0] + v[1] + v[2] + v[3] > 0;
        const bool first_above = v[0] > 0;
        // Crossings lie on edges 0..3; the pair beside corner 0 are those on edges 3 and 0.
        if (middle_above == first_above) {
          segments.push_back({crossing[0], crossing[1]});
          segments.push_back({crossing[2], crossing[3]});
        } else {
          segments.push_back({crossing[3], crossing[0]});
          segments.push_back({crossing[1], crossing[2]});
        }
      }
    }
  }
  return segments;
}

}  // namespace rimwright
