// Feature points of photos, by cells of the picture.
// SIFT (Lowe, IJCV 60, 2004), square-rooted descriptors (Arandjelovic and Zisserman, CVPR 2012).
#pragma once

#include <algorithm>
#include <cstdint>
#include <vector>

#include "capture/photos/photo_set.h"

namespace rimwright {

struct FindFeaturesSettings {
  double search_megapixels = 3.2;  // photos are shrunk to about this; 12-megapixel photos to half size
  int features_per_photo = 4000;
  double contrast = 0.010;  // of SIFT; wood is faint
};

struct Features {
  static constexpr int length = 128;
  static constexpr int unit = 512;
  static constexpr int cell_px = 32;
  std::vector<Vector2> pixels;            // full size
  std::vector<std::uint8_t> descriptors;  // `length` a point; a unit vector times `unit`
  int cells_across = 0, cells_down = 0;
  std::vector<std::vector<int>> cells;  // indices by cell of the full-size photo

  [[nodiscard]] const std::uint8_t* descriptor(std::size_t i) const { return descriptors.data() + i * length; }
  [[nodiscard]] std::size_t cell_at(const Vector2& p) const {
    const int column = std::clamp(static_cast<int>(p.x()) / cell_px, 0, cells_across - 1);
    const int row = std::clamp(static_cast<int>(p.y()) / cell_px, 0, cells_down - 1);
    return static_cast<std::size_t>(row * cells_across + column);
  }
};

// In units of 1 / unit^2.
[[nodiscard]] inline int squared_distance(const std::uint8_t* a, const std::uint8_t* b) {
  int sum = 0;
  for (int i = 0; i < Features::length; ++i) {
    const int d = static_cast<int>(a[i]) - static_cast<int>(b[i]);
    sum += d * d;
  }
  return sum;
}

[[nodiscard]] Features find_features(const Photo& photo, const FindFeaturesSettings& settings);

}  // namespace rimwright
