// Grid: a face's points averaged into cells of (station, across), for maps, waviness and the look of the noise.
#pragma once

#include <limits>
#include <vector>

#include "core/parallel.h"
#include "measure/fit_faces.h"

namespace rimwright {

// Cell (row, column): row = across (t of FaceFits), column = station. Values are y, mm along the face's normal, in the
// frame of the FaceFits (the top's with the quadric taken off).
struct FaceGrid {
  double first_station_mm = 0.0, station_step_mm = 1.0;
  double first_t_mm = 0.0, t_step_mm = 1.0;
  std::size_t columns = 0, rows = 0;
  std::vector<float> mean_mm;  // row-major, NaN where empty
  std::vector<float> count;    // points
  [[nodiscard]] std::size_t index(std::size_t row, std::size_t column) const { return row * columns + column; }
  [[nodiscard]] double station(std::size_t column) const {
    return first_station_mm + static_cast<double>(column) * station_step_mm;
  }
  [[nodiscard]] double t(std::size_t row) const { return first_t_mm + (static_cast<double>(row) + 0.5) * t_step_mm; }
};

// Points of the face's seen part, edge_margin_mm clear of its ends, within the gate of its fit; of a very dense scan an
// even share that leaves about `enough` a cell.
[[nodiscard]] FaceGrid grid_face(const UnrolledRim& rim, const FittedRim& fitted, const FaceFits& face,
                                 double t_step_mm, double edge_margin_mm, double gate_mm, Workers& workers,
                                 double enough = std::numeric_limits<double>::infinity());

}  // namespace rimwright
