#include "capture/photos/surface_zone.h"

#include <algorithm>
#include <cmath>
#include <limits>

namespace rimwright {

SurfaceZone::SurfaceZone(const std::vector<Patch>& seeds, const ScaleTarget& target,
                         const SurfaceZoneSettings& settings)
    : settings_(settings), target_(target) {
  constexpr double neighbourhood_mm = 15.0;
  std::vector<Vector2> steep, steep_out;
  std::vector<double> steep_up, heights;
  for (const Patch& seed : seeds) {
    if (std::abs(seed.normal_sheet.z()) < settings.steep_below_cosine) {
      steep.push_back(seed.at_sheet_mm.head<2>());
      steep_out.push_back(seed.normal_sheet.head<2>().normalized());
      steep_up.push_back(seed.at_sheet_mm.z());
    }
  }
  for (std::size_t i = 0; i < steep.size(); ++i) {
    const Vector2& p = steep[i];
    const auto count = std::count_if(steep.begin(), steep.end(), [&](const Vector2& q) {
      return (p - q).squaredNorm() < neighbourhood_mm * neighbourhood_mm;
    });
    if (static_cast<std::size_t>(count) < settings.least_side_patches) continue;
    side_.push_back(p);
    side_out_.push_back(steep_out[i]);
    heights.push_back(steep_up[i]);
  }
  if (side_.empty()) return;
  // Nearly the highest: a stray patch does not lift the zone.
  const auto high_one = heights.begin() + static_cast<std::ptrdiff_t>(0.95 * static_cast<double>(heights.size() - 1));
  std::nth_element(heights.begin(), high_one, heights.end());
  side_top_ = *high_one;
  Vector2 low = side_[0], high = side_[0];
  for (const Vector2& p : side_) low = low.cwiseMin(p), high = high.cwiseMax(p);
  left_ = low.x() - settings.within_mm;
  bottom_ = low.y() - settings.within_mm;
  columns_ = std::lround((high.x() - low.x() + 2 * settings.within_mm) / settings.cell_mm) + 1;
  rows_ = std::lround((high.y() - low.y() + 2 * settings.within_mm) / settings.cell_mm) + 1;
  near_.assign(static_cast<std::size_t>(columns_ * rows_), false);
  const long reach = std::lround(settings.within_mm / settings.cell_mm) + 1;
  for (const Vector2& p : side_) {
    const long column_of = std::lround((p.x() - left_) / settings.cell_mm);
    const long row_of = std::lround((p.y() - bottom_) / settings.cell_mm);
    for (long row = std::max(0L, row_of - reach); row <= std::min(rows_ - 1, row_of + reach); ++row) {
      for (long column = std::max(0L, column_of - reach); column <= std::min(columns_ - 1, column_of + reach);
           ++column) {
        const Vector2 at(left_ + static_cast<double>(column) * settings.cell_mm,
                         bottom_ + static_cast<double>(row) * settings.cell_mm);
        if ((p - at).squaredNorm() < settings.within_mm * settings.within_mm)
          near_[static_cast<std::size_t>(row * columns_ + column)] = true;
      }
    }
  }
}

bool SurfaceZone::holds(const Vector3& p) const {
  if (near_.empty() || p.z() < side_top_ - settings_.deepest_mm || p.z() > side_top_ + settings_.highest_mm)
    return false;
  if (p.z() > -3.0 && target_.covers(p.x(), -p.y(), settings_.target_margin_mm)) return false;
  const long column = std::lround((p.x() - left_) / settings_.cell_mm);
  const long row = std::lround((p.y() - bottom_) / settings_.cell_mm);
  if (column < 0 || row < 0 || column >= columns_ || row >= rows_) return false;
  return near_[static_cast<std::size_t>(row * columns_ + column)];
}

Vector3 SurfaceZone::along_rim(const Vector3& at) const {
  std::size_t nearest = 0;
  for (std::size_t i = 1; i < side_.size(); ++i) {
    if ((side_[i] - at.head<2>()).squaredNorm() < (side_[nearest] - at.head<2>()).squaredNorm()) nearest = i;
  }
  return {-side_out_[nearest].y(), side_out_[nearest].x(), 0.0};
}

}  // namespace rimwright
