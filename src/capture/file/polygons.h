// Polygons of a mesh file, cut into fans of triangles.
#pragma once

#include <array>
#include <cmath>
#include <cstddef>
#include <cstdint>
#include <string>
#include <vector>

#include "capture/file/bytes.h"

namespace rimwright {

class PolygonFan {
 public:
  static constexpr std::size_t most_corners = 65'536;  // of one polygon

  PolygonFan(std::size_t point_count, std::uint64_t most_triangles,
             std::vector<std::array<std::uint32_t, 3>>& triangles)
      : point_count_(point_count), most_triangles_(most_triangles), triangles_(triangles) {}

  // Both return a complaint, empty when all is well.
  [[nodiscard]] std::string add_corner(double index) {
    if (!(index >= 0.0 && index < static_cast<double>(point_count_)) || index != std::floor(index)) {
      return "names a point that is not there, of " + std::to_string(point_count_);
    }
    if (corners_.size() == most_corners) return "has more than 65536 corners";
    corners_.push_back(static_cast<std::uint32_t>(index));
    return {};
  }
  // Ends the polygon. One of fewer than three corners has no area and is left out.
  [[nodiscard]] std::string close() {
    for (std::size_t i = 2; i < corners_.size(); ++i) {
      if (triangles_.size() >= most_triangles_) {
        full_ = true;
        return "goes beyond the limit of " + std::to_string(most_triangles_) + " triangles";
      }
      triangles_.push_back({corners_[0], corners_[i - 1], corners_[i]});
    }
    corners_.clear();
    return {};
  }

  // For a complaint of this fan, with its place before it.
  [[nodiscard]] tl::unexpected<Refusal> refusal(const FileBytes& file, const std::string& what) const {
    return full_ ? file.over_limit(what, "thin the mesh before exporting it") : file.malformed(what);
  }

 private:
  bool full_ = false;
  std::size_t point_count_;
  std::uint64_t most_triangles_;
  std::vector<std::array<std::uint32_t, 3>>& triangles_;
  std::vector<std::uint32_t> corners_;
};

}  // namespace rimwright
