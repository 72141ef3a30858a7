// Patches by cells of a grid, for finding neighbours.
#pragma once

#include <array>
#include <cmath>
#include <cstdint>
#include <unordered_map>
#include <vector>

#include "capture/photos/refine_patch.h"

namespace rimwright {

class PatchIndex {
 public:
  PatchIndex(const std::vector<Patch>& patches, double reach_mm) : patches_(patches), reach_mm_(reach_mm) {
    for (std::size_t i = 0; i < patches.size(); ++i) cells_[key(cell(patches[i].at_sheet_mm))].push_back(i);
  }

  // Calls body(index) for every patch within reach of a point, nearest cells in a fixed order.
  template <class Body>
  void for_near(const Vector3& at, Body&& body) const {
    const auto [x, y, z] = cell(at);
    for (long i = x - 1; i <= x + 1; ++i) {
      for (long j = y - 1; j <= y + 1; ++j) {
        for (long k = z - 1; k <= z + 1; ++k) {
          const auto found = cells_.find(key({i, j, k}));
          if (found == cells_.end()) continue;
          for (std::size_t n : found->second) {
            if ((patches_[n].at_sheet_mm - at).squaredNorm() <= reach_mm_ * reach_mm_) body(n);
          }
        }
      }
    }
  }

 private:
  [[nodiscard]] std::array<long, 3> cell(const Vector3& p) const {
    return {std::lround(std::floor(p.x() / reach_mm_)), std::lround(std::floor(p.y() / reach_mm_)),
            std::lround(std::floor(p.z() / reach_mm_))};
  }
  static std::uint64_t key(const std::array<long, 3>& c) {
    constexpr long bias = 1 << 20;
    return static_cast<std::uint64_t>(c[0] + bias) << 42 | static_cast<std::uint64_t>(c[1] + bias) << 21 |
           static_cast<std::uint64_t>(c[2] + bias);
  }
  const std::vector<Patch>& patches_;
  double reach_mm_;
  std::unordered_map<std::uint64_t, std::vector<std::size_t>> cells_;
};

}  // namespace rimwright
