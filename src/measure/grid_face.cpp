#include "measure/grid_face.h"

#include <algorithm>
#include <cmath>

#include "measure/profile_frame.h"
#include "measure/section_geometry.h"
#include "rim/even_share.h"

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
    const double rows_a_mm = 1.0 / t_step_mm;
    const double first = std::min(fit.from_t_mm, fit.to_t_mm) + edge_margin_mm;
    const double last = std::max(fit.from_t_mm, fit.to_t_mm) - edge_margin_mm;
    // A domed top's points leave the line by its rise and sagitta: twice the gate, and a share of the reach.
    const double reach = is_top ? 0.12 * std::max(std::abs(first), std::abs(last)) : 0.0;
    const double beyond = 2.0 * gate_mm + reach + std::abs(fit.shift_along) * grid.station_step_mm;
    const SectionTop top = is_top ? top_of(rim, fitted.station_mm[i], nullptr) : SectionTop{};
    const auto along_at = [&](double t) {
      const Vector2 p = t * face.along + (fit.a_mm + fit.b * (t - fit.t0_mm)) * face.normal;
      return profile_along(p.x(), p.y());
    };
    const double from_along = std::min(along_at(first), along_at(last)) - beyond;
    const double to_along = std::max(along_at(first), along_at(last)) + beyond;
    for (std::size_t slice = i * slices_a_station; slice < (i + 1) * slices_a_station; ++slice) {
      const auto range = rim.points_between(slice, from_along, to_along);
      const double enough_here = enough * (last - first) / t_step_mm / static_cast<double>(slices_a_station);
      const auto every =
          static_cast<std::size_t>(std::max(1.0, static_cast<double>(range.end - range.begin) / enough_here));
      const EvenShare share(range.begin, range.end, every);
      const std::size_t count = share.size();
      for (std::size_t nth = 0; nth < count; ++nth) {
        const std::size_t k = share[nth];
        const double out = rim.out_mm[k], up = rim.up_mm[k];
        const double t = out * face.along.x() + up * face.along.y();
        if (t < first || t > last) continue;
        double y = out * face.normal.x() + up * face.normal.y();
        if (is_top) {
          y -= out * (top.rise + 0.5 * top.bend * out);
        }
        y -= fit.shift_along * (rim.station_mm[k] - fitted.station_mm[i]);
        if (std::abs(y - fit.a_mm - fit.b * (t - fit.t0_mm)) > gate_mm) continue;
        const double row = (t - grid.first_t_mm) * rows_a_mm;
        if (row < 0 || row >= static_cast<double>(grid.rows)) continue;
        sums[static_cast<std::size_t>(row)] += y;
        counts[static_cast<std::size_t>(row)] += 1.0;
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
