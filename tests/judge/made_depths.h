// Depths made by hand, held against 6 mm +- 0.15 mm, a station each millimetre.
#pragma once

#include <cstddef>

#include "judge/compare.h"

namespace rimwright::test {

inline JudgedSeries depths_to_judge() {
  JudgedSeries series;
  series.lower = 5.85;
  series.upper = 6.15;
  return series;
}

// One station more, with a single source of uncertainty.
inline void add_depth(JudgedSeries& series, double depth_mm, double u95_mm, UncertaintySource source, double u_mm) {
  JudgedStation station;
  station.station_mm = static_cast<double>(series.stations.size());
  station.value = depth_mm;
  station.standard_u[static_cast<std::size_t>(source)] = u_mm;
  station.u95 = u95_mm;
  station.lower = series.lower;
  station.upper = series.upper;
  station.verdict = verdict_of(station.value, station.u95, station.lower, station.upper);
  series.stations.push_back(station);
}

}  // namespace rimwright::test
