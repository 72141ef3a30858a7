// Which squares of the plan are occupied, by cells of the top for instance.
#pragma once

#include <array>
#include <cmath>
#include <cstdint>
#include <unordered_set>

#include "core/frames.h"

namespace rimwright {

class PlanOccupancy {
 public:
  explicit PlanOccupancy(double square_mm) : square_mm_(square_mm) {}
  void mark(const Vector2& p) { marked_.insert(square_at(p)); }
  void mark_all_of(const PlanOccupancy& other) { marked_.insert(other.marked_.begin(), other.marked_.end()); }
  [[nodiscard]] bool holds(const Vector2& p) const { return marked_.contains(square_at(p)); }
  [[nodiscard]] std::size_t size() const { return marked_.size(); }
  // The squares that are occupied as those around them are; one of the nine may be missing.
  [[nodiscard]] PlanOccupancy surrounded() const {
    PlanOccupancy inner(square_mm_);
    for (const std::int64_t marked : marked_)
      for (const std::int64_t square : with_those_around(marked)) {
        int missing = 0;
        for (const std::int64_t neighbour : with_those_around(square)) missing += !marked_.contains(neighbour);
        if (missing <= 1) inner.marked_.insert(square);
      }
    return inner;
  }

 private:
  static std::int64_t square_of(std::int64_t x, std::int64_t y) { return (x << 32) ^ (y & 0xffffffffLL); }
  [[nodiscard]] std::int64_t square_at(const Vector2& p) const {
    return square_of(static_cast<std::int64_t>(std::floor(p.x() / square_mm_)),
                     static_cast<std::int64_t>(std::floor(p.y() / square_mm_)));
  }
  static std::array<std::int64_t, 9> with_those_around(std::int64_t square) {
    const std::int64_t x = square >> 32, y = static_cast<std::int32_t>(square);
    std::array<std::int64_t, 9> squares{};
    for (int k = 0; k < 9; ++k) squares[static_cast<std::size_t>(k)] = square_of(x + k / 3 - 1, y + k % 3 - 1);
    return squares;
  }
  double square_mm_;
  std::unordered_set<std::int64_t> marked_;
};

}  // namespace rimwright
