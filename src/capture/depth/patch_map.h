// The growing model of alignment: one small plane a cell and direction, the running mean of the patches that fell
// there.
#pragma once

#include <cstdint>
#include <unordered_map>
#include <vector>

#include "core/frames.h"

namespace rimwright {

// The cell of a point, for cells of the given side. Good for points within 5 km at 5 mm.
[[nodiscard]] std::uint64_t cell_key(const Vector3& point_mm, double cell_mm);

class PatchMap {
 public:
  struct Plane {
    Vector3 point_sum = Vector3::Zero();  // weighted
    Vector3 normal_sum = Vector3::Zero();
    double weight = 0.0;
    std::int32_t next = -1;  // another plane of the same cell, with another direction

    [[nodiscard]] Vector3 point_mm() const { return point_sum / weight; }
    [[nodiscard]] Vector3 normal() const { return normal_sum.normalized(); }
  };

  explicit PatchMap(double cell_mm) : cell_mm_(cell_mm) {}

  void add(const Vector3& point_mm, const Vector3& normal, double weight);

  // The nearest plane of this cell whose direction agrees, else of the 26 cells around; null when there is none.
  [[nodiscard]] const Plane* find(const Vector3& point_mm, const Vector3& normal) const;

  [[nodiscard]] const std::vector<Plane>& planes() const { return planes_; }

 private:
  [[nodiscard]] std::int32_t best_in(std::uint64_t key, const Vector3& point_mm, const Vector3& normal,
                                     double least_agreement) const;
  double cell_mm_;
  std::unordered_map<std::uint64_t, std::int32_t> first_;
  std::vector<Plane> planes_;
};

}  // namespace rimwright
