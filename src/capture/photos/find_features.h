// Feature points of photos, by cells of the picture.
// SIFT (Lowe, IJCV 60, 2004), square-rooted descriptors (Arandjelovic and Zisserman, CVPR 2012).
#pragma once

#include <algorithm>
#include <vector>

#include "capture/photos/photo_set.h"
#include "core/parallel.h"

namespace rimwright {

struct FindFeaturesSettings {
  double search_megapixels = 3.2;  // photos are shrunk to about this; 12-megapixel photos to half size
  int features_per_photo = 4000;
  double contrast = 0.010;  // of SIFT; wood is faint
};

struct Features {
  static constexpr int length = 128;
  static constexpr int cell_px = 32;
  std::vector<Vector2> pixels;     // full size
  std::vector<float> descriptors;  // `length` a point, unit length
  int cells_across = 0, cells_down = 0;
  std::vector<std::vector<int>> cells;  // indices by cell of the full-size photo

  [[nodiscard]] const float* descriptor(std::size_t i) const { return descriptors.data() + i * length; }
  [[nodiscard]] std::size_t cell_at(const Vector2& p) const {
    const int column = std::clamp(static_cast<int>(p.x()) / cell_px, 0, cells_across - 1);
    const int row = std::clamp(static_cast<int>(p.y()) / cell_px, 0, cells_down - 1);
    return static_cast<std::size_t>(row * cells_across + column);
  }
};

[[nodiscard]] inline float squared_distance(const float* a, const float* b) {
  float sum = 0.0f;
  for (int i = 0; i < Features::length; ++i) sum += (a[i] - b[i]) * (a[i] - b[i]);
  return sum;
}

// By photo, in the order of the set, whatever the number of workers.
[[nodiscard]] std::vector<Features> find_features(const PhotoSet& set, const FindFeaturesSettings& settings,
                                                  Workers& workers);

}  // namespace rimwright
