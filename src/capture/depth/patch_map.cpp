#include "capture/depth/patch_map.h"

#include <cmath>
#include <limits>

namespace rimwright {

namespace {

// Cosines: within 18 and 22 degrees, so that a bevel that leans 30 degrees from the top stays apart from it.
constexpr double agreement_to_join = 0.95;
constexpr double agreement_to_match = 0.93;

}  // namespace

std::uint64_t cell_key(const Vector3& point_mm, double cell_mm) {
  std::uint64_t key = 0;
  for (int axis = 0; axis < 3; ++axis) {
    const auto place = static_cast<std::int64_t>(std::floor(point_mm[axis] / cell_mm)) + (std::int64_t{1} << 20);
    key = (key << 21) | (static_cast<std::uint64_t>(place) & 0x1fffffU);
  }
  return key;
}

std::int32_t PatchMap::best_in(std::uint64_t key, const Vector3& point_mm, const Vector3& normal,
                               double least_agreement) const {
  const auto found = first_.find(key);
  if (found == first_.end()) return -1;
  std::int32_t best = -1;
  double nearest = std::numeric_limits<double>::infinity();
  for (std::int32_t at = found->second; at >= 0; at = planes_[static_cast<std::size_t>(at)].next) {
    const Plane& plane = planes_[static_cast<std::size_t>(at)];
    if (plane.normal_sum.dot(normal) < least_agreement * plane.normal_sum.norm()) continue;
    const double distance = (plane.point_mm() - point_mm).squaredNorm();
    if (distance < nearest) {
      nearest = distance;
      best = at;
    }
  }
  return best;
}

void PatchMap::add(const Vector3& point_mm, const Vector3& normal, double weight) {
  const std::uint64_t key = cell_key(point_mm, cell_mm_);
  std::int32_t at = best_in(key, point_mm, normal, agreement_to_join);
  if (at < 0) {
    at = static_cast<std::int32_t>(planes_.size());
    planes_.emplace_back();
    const auto [entry, fresh] = first_.try_emplace(key, at);
    if (!fresh) {
      planes_.back().next = entry->second;
      entry->second = at;
    }
  }
  Plane& plane = planes_[static_cast<std::size_t>(at)];
  plane.point_sum += weight * point_mm;
  plane.normal_sum += weight * normal;
  plane.weight += weight;
}

const PatchMap::Plane* PatchMap::find(const Vector3& point_mm, const Vector3& normal) const {
  const std::int32_t own = best_in(cell_key(point_mm, cell_mm_), point_mm, normal, agreement_to_match);
  if (own >= 0) return &planes_[static_cast<std::size_t>(own)];
  const Plane* best = nullptr;
  double nearest = std::numeric_limits<double>::infinity();
  for (int x = -1; x <= 1; ++x) {
    for (int y = -1; y <= 1; ++y) {
      for (int z = -1; z <= 1; ++z) {
        const Vector3 beside = point_mm + cell_mm_ * Vector3(x, y, z);
        const std::int32_t at = best_in(cell_key(beside, cell_mm_), point_mm, normal, agreement_to_match);
        if (at < 0) continue;
        const double distance = (planes_[static_cast<std::size_t>(at)].point_mm() - point_mm).squaredNorm();
        if (distance < nearest) {
          nearest = distance;
          best = &planes_[static_cast<std::size_t>(at)];
        }
      }
    }
  }
  return best;
}

}  // namespace rimwright
