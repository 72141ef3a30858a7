// Which squares of the plan are occupied, by cells of the top for instance.
#pragma once

#include <cmath>
#include <cstdint>
#include <unordered_set>

#include "core/frames.h"

namespace rimwright {

class PlanOccupancy {
 public:
  explicit PlanOccupancy(double square_mm) : square_mm_(square_mm) {}
  void mark(const Vector2& p) { marked_.insert(key_at(p, 0, 0)); }
  [[nodiscard]] bool holds(const Vector2& p) const { return marked_.contains(key_at(p, 0, 0)); }
  [[nodiscard]] std::size_t size() const { return marked_.size(); }
  // Whether the square and those around it are occupied; one of the nine may be missing.
  [[nodiscard]] bool surrounds(const Vector2& p) const {
    int missing = 0;
    for (int dy = -1; dy <= 1; ++dy)
      for (int dx = -1; dx <= 1; ++dx) missing += !marked_.contains(key_at(p, dx, dy));
    return missing <= 1;
  }

 private:
  [[nodiscard]] std::int64_t key_at(const Vector2& p, int dx, int dy) const {
    const auto x = static_cast<std::int64_t>(std::floor(p.x() / square_mm_)) + dx;
    const auto y = static_cast<std::int64_t>(std::floor(p.y() / square_mm_)) + dy;
    return (x << 32) ^ (y & 0xffffffffLL);
  }
  double square_mm_;
  std::unordered_set<std::int64_t> marked_;
};

}  // namespace rimwright
