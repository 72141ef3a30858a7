#include "judge/align_rims.h"

#include <Eigen/Geometry>
#include <algorithm>
#include <cmath>

namespace rimwright {
namespace {

// Points at even distances along the curve. The order of stations is the order of travel.
std::vector<Vector3> resampled(const std::vector<RimPoint>& rim, double step_mm) {
  std::vector<Vector3> even;
  if (rim.empty()) return even;
  even.push_back(rim.front().at_scan_mm);
  double past_mm = 0.0;
  for (std::size_t i = 1; i < rim.size(); ++i) {
    const Vector3 from = rim[i - 1].at_scan_mm, leg = rim[i].at_scan_mm - from;
    const double length_mm = leg.norm();
    double along_mm = step_mm - past_mm;
    for (; along_mm <= length_mm; along_mm += step_mm) even.push_back(from + leg * (along_mm / length_mm));
    past_mm = length_mm - (along_mm - step_mm);
  }
  return even;
}

bool is_closed(const std::vector<Vector3>& curve, double step_mm) {
  return curve.size() > 8 && (curve.front() - curve.back()).norm() < 3.0 * step_mm;
}

struct Trial {
  RimPlacement placement;
  std::ptrdiff_t shift = 0;
  bool reversed = false;
};

}  // namespace

std::vector<RimPlacement> align_rims(const std::vector<RimPoint>& before, const std::vector<RimPoint>& after,
                                     double step_mm) {
  constexpr std::size_t fewest = 4, most_placements = 8;
  constexpr double apart_mm = 20.0;
  const std::vector<Vector3> target = resampled(before, step_mm);
  std::vector<Vector3> moving = resampled(after, step_mm);
  if (target.size() < fewest || moving.size() < fewest) return {};
  const auto target_count = static_cast<std::ptrdiff_t>(target.size());
  const auto moving_count = static_cast<std::ptrdiff_t>(moving.size());
  const bool around = is_closed(target, step_mm);
  const std::ptrdiff_t least_overlap = std::max<std::ptrdiff_t>(fewest, std::min(target_count, moving_count) / 2);

  std::vector<Trial> trials;
  for (const bool reversed : {false, true}) {
    if (reversed) std::reverse(moving.begin(), moving.end());
    const std::ptrdiff_t first = around ? 0 : least_overlap - moving_count;
    const std::ptrdiff_t last = around ? target_count - 1 : target_count - least_overlap;
    for (std::ptrdiff_t shift = first; shift <= last; ++shift) {
      std::vector<std::pair<std::ptrdiff_t, std::ptrdiff_t>> pairs;
      for (std::ptrdiff_t i = 0; i < moving_count; ++i) {
        std::ptrdiff_t j = i + shift;
        if (around) j %= target_count;
        if (j >= 0 && j < target_count) pairs.emplace_back(i, j);
      }
      if (static_cast<std::ptrdiff_t>(pairs.size()) < least_overlap) continue;
      Eigen::Matrix3Xd from(3, pairs.size()), to(3, pairs.size());
      for (std::size_t k = 0; k < pairs.size(); ++k) {
        from.col(static_cast<Eigen::Index>(k)) = moving[static_cast<std::size_t>(pairs[k].first)];
        to.col(static_cast<Eigen::Index>(k)) = target[static_cast<std::size_t>(pairs[k].second)];
      }
      Trial trial;
      trial.placement.T_before_after.matrix() = Eigen::umeyama(from, to, false);
      const Eigen::Matrix3Xd moved =
          (trial.placement.T_before_after.linear() * from).colwise() + trial.placement.T_before_after.translation();
      trial.placement.rms_mm = std::sqrt((moved - to).squaredNorm() / static_cast<double>(pairs.size()));
      trial.shift = shift;
      trial.reversed = reversed;
      trials.push_back(trial);
    }
  }
  std::stable_sort(trials.begin(), trials.end(),
                   [](const Trial& a, const Trial& b) { return a.placement.rms_mm < b.placement.rms_mm; });
  std::vector<Trial> kept;
  for (const Trial& trial : trials) {
    const bool near_another = std::any_of(kept.begin(), kept.end(), [&](const Trial& other) {
      return other.reversed == trial.reversed &&
             static_cast<double>(std::abs(other.shift - trial.shift)) * step_mm < apart_mm;
    });
    if (!near_another) kept.push_back(trial);
    if (kept.size() == most_placements) break;
  }
  std::vector<RimPlacement> placements;
  for (const Trial& trial : kept) placements.push_back(trial.placement);
  return placements;
}

}  // namespace rimwright
