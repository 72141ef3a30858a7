// What the report says of the scan itself, and the noise everything else is judged by.
#pragma once

#include "core/cloud.h"
#include "measure/measures.h"
#include "measure/noise_model.h"
#include "rim/gather_cells.h"

namespace rimwright {

// Median distance of points from the local plane over the given cells, mm: good enough to set gates.
[[nodiscard]] double noise_of_cells(const SurfaceCells& cells, const std::vector<std::uint32_t>& which);

// The noise model of the reference faces. Refuses with no_rim_found where side and top are not both seen along 20 mm.
[[nodiscard]] Outcome<NoiseModel> noise_of_rim(const UnrolledRim& rim, const FittedRim& fitted, Workers& workers);

// Fills Measures::scan and the rim curve in scan and plan.
void summarise_scan(Measures& measures, std::size_t points, const Vector3& origin_scan_mm, const UnrolledRim& rim,
                    const FittedRim& fitted, const NoiseModel& noise, double lean_rad);

}  // namespace rimwright
