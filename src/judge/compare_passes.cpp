#include "judge/compare_passes.h"

#include <algorithm>
#include <array>
#include <cmath>
#include <limits>
#include <map>

namespace rimwright {
namespace {

double quantile(std::vector<double> values, double share) {
  if (values.empty()) return 0.0;
  std::sort(values.begin(), values.end());
  return values[static_cast<std::size_t>(share * static_cast<double>(values.size() - 1))];
}

const std::vector<RimPoint>& rim_of(const Pass& pass) { return pass.faces.rim; }

// The later pass's stations start elsewhere: the median difference to the earlier station of the nearest rim point.
double station_shift(const Pass& before, const Pass& after, const PassAlignment& alignment) {
  std::vector<double> differences;
  for (const RimPoint& point : rim_of(after)) {
    const Vector3 here = alignment.to_before(point.at_scan_mm);
    double nearest = std::numeric_limits<double>::infinity(), station = 0.0;
    for (const RimPoint& other : rim_of(before)) {
      const double distance = (other.at_scan_mm - here).squaredNorm();
      if (distance < nearest) {
        nearest = distance;
        station = other.station_mm;
      }
    }
    constexpr double same_place_mm = 5.0;
    if (nearest < same_place_mm * same_place_mm) differences.push_back(station - point.station_mm);
  }
  return quantile(std::move(differences), 0.5);
}

std::vector<RemovalStretch> in_stretches(const std::vector<RemovalCell>& cells, double stretch_mm) {
  struct Sum {
    double removed = 0.0, own_variance = 0.0, alignment = 0.0, shared = 0.0,
           most = -std::numeric_limits<double>::infinity();
    std::size_t cells = 0;
  };
  std::map<std::pair<long, int>, Sum> sums;
  for (const RemovalCell& cell : cells) {
    Sum& sum = sums[{std::lround(std::floor(cell.station_mm / stretch_mm)), static_cast<int>(cell.kind)}];
    sum.removed += cell.removed_mm;
    sum.own_variance +=
        cell.u_mm * cell.u_mm - cell.u_alignment_mm * cell.u_alignment_mm - cell.u_shared_mm * cell.u_shared_mm;
    sum.shared += cell.u_shared_mm;
    sum.alignment += cell.u_alignment_mm;
    sum.most = std::max(sum.most, cell.removed_mm);
    ++sum.cells;
  }
  std::vector<RemovalStretch> stretches;
  for (const auto& [key, sum] : sums) {
    const auto count = static_cast<double>(sum.cells);
    RemovalStretch stretch;
    stretch.kind = static_cast<FaceKind>(key.second);
    stretch.from_mm = static_cast<double>(key.first) * stretch_mm;
    stretch.to_mm = stretch.from_mm + stretch_mm;
    stretch.removed_mm = sum.removed / count;
    // Cells overlap their neighbours, whose fits share points: about four cells hold one cell's worth of news.
    constexpr double cells_together = 4.0;
    const double own = std::sqrt(sum.own_variance / count * std::min(1.0, cells_together / count));
    stretch.u95_mm = 1.959963984540054 * std::hypot(own, sum.alignment / count, sum.shared / count);
    stretch.most_removed_mm = sum.most;
    stretch.cells = sum.cells;
    stretches.push_back(stretch);
  }
  return stretches;
}

void estimate_passes(PassComparison& comparison) {
  std::vector<double> removed, left;
  for (const RemovalCell& cell : comparison.cells) {
    if (cell.kind != FaceKind::bevel) continue;
    if (cell.came_off()) removed.push_back(cell.removed_mm);
    if (std::isfinite(cell.left_mm)) left.push_back(cell.left_mm);
  }
  constexpr std::size_t fewest_cells = 10;
  if (removed.size() < fewest_cells) {
    comparison.passes_left_note =
        "the last pass took off less than both scans can tell, so nothing can be said of passes left";
    return;
  }
  if (left.size() < fewest_cells) {
    comparison.passes_left_note = "the later result does not say how much is left on the bevel";
    return;
  }
  PassesLeft estimate;
  estimate.last_pass_mm = quantile(std::move(removed), 0.5);
  estimate.left_mm = std::max(0.0, quantile(std::move(left), 0.95));
  constexpr double level_mm = 0.02;  // nobody planes for less
  estimate.passes = estimate.left_mm <= level_mm
                        ? 0
                        : static_cast<int>(std::min(999.0, std::ceil(estimate.left_mm / estimate.last_pass_mm)));
  comparison.passes_left = estimate;
}

void add_notes(const Pass& before, const Pass& after, PassComparison& comparison) {
  if (before.instrument != after.instrument) {
    comparison.notes.push_back("the passes are of '" + before.instrument + "' and '" + after.instrument +
                               "'; compare passes of one instrument");
  }
  const bool worked = std::any_of(comparison.cells.begin(), comparison.cells.end(), [](const RemovalCell& cell) {
    return cell.kind != FaceKind::top && cell.kind != FaceKind::side;
  });
  if (comparison.alignment && !worked) comparison.notes.emplace_back("no worked face is seen in both passes");
}

}  // namespace

Outcome<PassComparison> compare_passes(const Pass& before, const Pass& after, const ComparePassesSettings& settings) {
  PassComparison comparison;
  if (before.faces.points.empty() || after.faces.points.empty()) {
    comparison.no_map_because =
        (before.faces.points.empty() ? before.folder : after.folder) +
        " holds no faces file, so only findings are compared; inspect that scan again for a map";
  } else {
    const Outcome<PassAlignment> alignment = align_passes(before, after, settings.align);
    if (!alignment) return tl::unexpected<Refusal>(alignment.error());
    comparison.alignment = *alignment;
    comparison.station_shift_mm = station_shift(before, after, *alignment);
    comparison.cells = removal_map(before, after, *alignment, settings.removal);
    comparison.stretches = in_stretches(comparison.cells, settings.stretch_mm);
    std::vector<double> u95;
    for (const RemovalCell& cell : comparison.cells) u95.push_back(cell.u95_mm());
    comparison.tell_mm = quantile(std::move(u95), 0.5);
    estimate_passes(comparison);
  }
  comparison.progress = finding_progress(before, after, comparison.station_shift_mm);
  add_notes(before, after, comparison);
  return comparison;
}

}  // namespace rimwright
