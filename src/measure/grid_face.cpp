#include "measure/grid_face.h"

#include <algorithm>
#include <array>
#include <cmath>

#include "measure/face_run.h"
#include "measure/profile_frame.h"
#include "measure/section_geometry.h"

namespace rimwright {

FaceGrid grid_face(const UnrolledRim& rim, const FittedRim& fitted, const FaceFits& face, double t_step_mm,
                   double edge_margin_mm, double gate_mm, Workers& workers, double enough) {
  FaceGrid grid;
  grid.columns = fitted.station_mm.size();
  if (grid.columns == 0) return grid;
  grid.first_station_mm = fitted.station_mm.front();
  grid.station_step_mm = grid.columns > 1 ? fitted.station_mm[1] - fitted.station_mm[0] : 1.0;
  grid.t_step_mm = t_step_mm;
  double low = 1e9, high = -1e9;
  for (const FaceFit& fit : face.at) {
    if (!fit.measured) continue;
    low = std::min({low, fit.from_t_mm, fit.to_t_mm});
    high = std::max({high, fit.from_t_mm, fit.to_t_mm});
  }
  if (high < low) return grid;
  const double widest = 90.0;  // of any face in a section; more would be a fault of the extents
  high = std::min(high + 2.0, low + widest);
  low -= 2.0;
  grid.first_t_mm = std::floor(low / t_step_mm) * t_step_mm;
  grid.rows = static_cast<std::size_t>(std::ceil((high - grid.first_t_mm) / t_step_mm));
  grid.count.assign(grid.rows * grid.columns, 0.0F);
  grid.mean_mm.assign(grid.rows * grid.columns, std::numeric_limits<float>::quiet_NaN());

  const bool is_top = face.track->name == FaceName::top;
  const auto slices_a_station = static_cast<std::size_t>(std::lround(grid.station_step_mm / rim.slice_mm));
  const auto fill_column = [&](std::size_t i) {
    const FaceFit& fit = face.at[i];
    if (!fit.measured) return;
    thread_local std::vector<double> sums, counts;  // of the column, side by side
    sums.assign(grid.rows, 0.0);
    counts.assign(grid.rows, 0.0);
    const double first = std::min(fit.from_t_mm, fit.to_t_mm) + edge_margin_mm;
    const double last = std::max(fit.from_t_mm, fit.to_t_mm) - edge_margin_mm;
    if (last <= first) return;  // too narrow to have a part clear of its ends
    FaceSpan span;
    span.a_mm = fit.a_mm - fit.b * fit.t0_mm;
    span.b = fit.b;
    span.shift_along = fit.shift_along;
    span.gate_mm = gate_mm;
    span.from_t_mm = first;
    span.to_t_mm = last;
    FaceAtStation at{span, face.along, face.normal, fitted.station_mm[i], grid.station_step_mm};
    const SectionTop top = is_top ? top_of(rim, fitted.station_mm[i], nullptr) : SectionTop{};
    const std::array<SectionDome, 2> domes{SectionDome{top.rise, top.bend}, SectionDome{top.rise, top.bend}};
    if (is_top) at.domes = domes.data();
    // A domed top's points leave the line by its rise and sagitta: twice the gate, and a share of the reach.
    const double reach = is_top ? 0.12 * std::max(std::abs(first), std::abs(last)) : 0.0;
    const double beyond = 2.0 * gate_mm + reach + std::abs(fit.shift_along) * grid.station_step_mm;
    const auto along_at = [&](double t) {
      const Vector2 p = t * face.along + (span.a_mm + span.b * t) * face.normal;
      return profile_along(p.x(), p.y());
    };
    const double from_along = std::min(along_at(first), along_at(last)) - beyond;
    const double to_along = std::max(along_at(first), along_at(last)) + beyond;
    const auto first_t = static_cast<float>(grid.first_t_mm), rows_a_mm = static_cast<float>(1.0 / t_step_mm);
    for (std::size_t slice = i * slices_a_station; slice < (i + 1) * slices_a_station; ++slice) {
      const auto range = rim.points_between(slice, from_along, to_along);
      const double enough_here = enough * (last - first) / t_step_mm / static_cast<double>(slices_a_station);
      const auto every =
          static_cast<std::size_t>(std::max(1.0, static_cast<double>(range.end - range.begin) / enough_here));
      const EvenShare share(range.begin, range.end, every);
      FaceRun run;
      for (std::size_t nth = 0; nth < share.size(); nth += FaceRun::most) {
        run.place(rim, share, nth, at);
        for (std::size_t k = 0; k < run.count; ++k) {
          const float row = (run.t[k] - first_t) * rows_a_mm;
          if (run.is_kept[k] == 0 || row < 0.0F || row >= static_cast<float>(grid.rows)) continue;
          sums[static_cast<std::size_t>(row)] += static_cast<double>(run.y[k]);
          counts[static_cast<std::size_t>(row)] += 1.0;
        }
      }
    }
    for (std::size_t row = 0; row < grid.rows; ++row) {
      if (counts[row] == 0.0) continue;
      grid.count[grid.index(row, i)] = static_cast<float>(counts[row]);
      grid.mean_mm[grid.index(row, i)] = static_cast<float>(sums[row] / counts[row]);
    }
  };
  constexpr std::size_t columns_at_once = 16;  // a column's cells are its own
  workers.for_chunks(grid.columns, columns_at_once, [&](std::size_t begin, std::size_t end, std::size_t) {
    for (std::size_t i = begin; i < end; ++i) fill_column(i);
  });
  return grid;
}

}  // namespace rimwright
