// Photos prepared for matching: lightly smoothed, 16 bits, cheap to sample with gradient.
#pragma once

#include <cstdint>
#include <vector>

#include "capture/photos/photo_set.h"
#include "core/parallel.h"

namespace rimwright {

// Grey values times 128 after a Gaussian of the given sigma.
struct SmoothPhoto {
  int width = 0, height = 0;
  std::vector<std::uint16_t> values;

  [[nodiscard]] bool holds(double x, double y) const {
    return x >= 1.0 && y >= 1.0 && x < width - 2.0 && y < height - 2.0;
  }

  // Value and gradient (per pixel) of the bilinear surface; the place must be held.
  void sample(float x, float y, float& value, float& gradient_x, float& gradient_y) const {
    const int column = static_cast<int>(x), row = static_cast<int>(y);
    const float u = x - static_cast<float>(column), v = y - static_cast<float>(row);
    const std::uint16_t* at = values.data() + static_cast<std::size_t>(row) * static_cast<std::size_t>(width) + column;
    const float a = at[0], b = at[1], c = at[width], d = at[width + 1];
    const float top = a + u * (b - a), bottom = c + u * (d - c);
    value = top + v * (bottom - top);
    gradient_x = (b - a) + v * ((d - c) - (b - a));
    gradient_y = bottom - top;
  }
};

// Each photo smoothed with sigma_px (0.8: what bilinear sampling needs).
[[nodiscard]] std::vector<SmoothPhoto> smooth_photos(const PhotoSet& set, double sigma_px, Workers& workers);

// Each pixel the mean of the square of shrink by shrink that it covers.
[[nodiscard]] SmoothPhoto shrink_photo(const SmoothPhoto& photo, int shrink);

}  // namespace rimwright
