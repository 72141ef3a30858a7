// What the readers share about filling a Cloud's arrays.
#pragma once

#include <cmath>
#include <cstddef>
#include <cstdint>
#include <functional>
#include <vector>

#include "core/cloud.h"
#include "core/parallel.h"

namespace rimwright {

// What a file may tell of a point, besides nothing at all.
enum class PointField : std::uint8_t {
  x,
  y,
  z,
  normal_x,
  normal_y,
  normal_z,
  red,
  green,
  blue,
  sigma,
  packed_rgb_bits,     // text: the 32 bits of a float written as a number (0x00rrggbb)
  packed_rgb_integer,  // text: the same as an integer
  none,
};
inline constexpr std::size_t stored_field_count = 10;  // x .. sigma

struct PresentArrays {
  std::size_t points_a_normal = 0;  // one of so many points gets its normal; 0: none does
  bool colours = false;
  bool sigma = false;
};

// What is added holds no particular values. There is room for the normals of points 0, points_a_normal, ...
void resize_arrays(Cloud& cloud, std::size_t count, const PresentArrays& present);
void append_points(Cloud& to, const Cloud& from);
// Closes the arrays up to the points marked 1, in order. One mark (0 or 1) a point.
void keep_marked(Cloud& cloud, const std::vector<std::uint8_t>& marks, Workers& workers);

// Receives the points of a file in file order, in blocks. It may move from the block.
using UseBlock = std::function<void(Cloud& block)>;

// A normal as stored in Cloud. Any length is brought to 1; a zero or unreadable normal stays zero ('not known').
inline std::array<std::int8_t, 3> packed_normal(float nx, float ny, float nz) {
  const float length = std::sqrt(nx * nx + ny * ny + nz * nz);
  const bool usable = length > 1e-12F && length < 1e12F;
  const float factor = usable ? 127.0F / length : 0.0F;
  const auto pack = [&](float n) {
    return static_cast<std::int8_t>(static_cast<int>((usable ? n : 0.0F) * factor + 128.5F) - 128);
  };
  return {pack(nx), pack(ny), pack(nz)};
}

inline std::uint8_t packed_colour(double value, double scale) {
  const double scaled = value * scale + 0.5;
  return static_cast<std::uint8_t>(scaled > 255.0 ? 255.0 : (scaled > 0.0 ? scaled : 0.0));
}

// A local origin near the middle of the sampled points (component-wise median, whole units so that differences stay
// exact); zero for coordinates that cannot be sampled. The sample is reordered.
[[nodiscard]] Vector3 local_origin(std::vector<Vector3>& sample);

// The points as a cloud about a local origin.
[[nodiscard]] Cloud cloud_of(const std::vector<Vector3>& points);

// Coordinate as an offset; beyond the range of float it becomes infinite, and is dropped as 'not finite' later on.
[[nodiscard]] float offset_from(double coordinate, double origin);

}  // namespace rimwright
