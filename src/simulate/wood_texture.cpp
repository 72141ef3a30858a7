#include "simulate/wood_texture.h"

#include <algorithm>
#include <array>
#include <cmath>

namespace rimwright {
namespace {

std::uint32_t hash(std::int32_t x, std::int32_t y, std::int32_t z, std::uint32_t seed) {
  std::uint32_t h = seed * 0x9E3779B1u;
  h ^= static_cast<std::uint32_t>(x) * 0x85EBCA6Bu;
  h = (h << 13 | h >> 19) * 5u + 0xE6546B64u;
  h ^= static_cast<std::uint32_t>(y) * 0xC2B2AE35u;
  h = (h << 13 | h >> 19) * 5u + 0xE6546B64u;
  h ^= static_cast<std::uint32_t>(z) * 0x27D4EB2Fu;
  h ^= h >> 16;
  h *= 0x85EBCA6Bu;
  h ^= h >> 13;
  h *= 0xC2B2AE35u;
  return h ^ h >> 16;
}

// Dot product with one of the twelve edge directions of a cube.
double gradient(std::uint32_t h, double x, double y, double z) {
  switch (h % 12u) {
    case 0: return x + y;
    case 1: return x - y;
    case 2: return -x + y;
    case 3: return -x - y;
    case 4: return x + z;
    case 5: return x - z;
    case 6: return -x + z;
    case 7: return -x - z;
    case 8: return y + z;
    case 9: return y - z;
    case 10: return -y + z;
    default: return -y - z;
  }
}

double fade(double t) { return t * t * t * (t * (t * 6.0 - 15.0) + 10.0); }
double mix(double a, double b, double t) { return a + t * (b - a); }

// How dark pencil lines are at a point: lines are where a slow noise crosses zero, as wide as a soft lead.
double pencil(const Vector3& p, std::uint32_t seed) {
  constexpr double lead_mm = 0.28, wander_mm = 4.0, step_mm = 0.05;
  double darkest = 0.0;
  for (std::uint32_t family = 0; family < 3; ++family) {
    const auto field = [&](const Vector3& q) {
      return gradient_noise(q.x() / wander_mm, q.y() / wander_mm, q.z() / wander_mm, seed + 101 + family);
    };
    const double value = field(p);
    if (std::abs(value) > 0.35) continue;
    const Vector3 slope =
        Vector3(field(p + step_mm * Vector3::UnitX()) - value, field(p + step_mm * Vector3::UnitY()) - value,
                field(p + step_mm * Vector3::UnitZ()) - value) /
        step_mm;
    const double away_mm = std::abs(value) / std::max(slope.norm(), 0.02);
    darkest = std::max(darkest, std::exp(-0.5 * std::pow(away_mm / lead_mm, 2)));
  }
  return darkest;
}

}  // namespace

double gradient_noise(double x, double y, double z, std::uint32_t seed) {
  const double fx = std::floor(x), fy = std::floor(y), fz = std::floor(z);
  const auto i = static_cast<std::int32_t>(fx), j = static_cast<std::int32_t>(fy), k = static_cast<std::int32_t>(fz);
  const double u = x - fx, v = y - fy, w = z - fz;
  const double a = fade(u), b = fade(v), c = fade(w);
  std::array<double, 8> corner{};
  for (int n = 0; n < 8; ++n) {
    const int di = n & 1, dj = n >> 1 & 1, dk = n >> 2;
    corner[static_cast<std::size_t>(n)] = gradient(hash(i + di, j + dj, k + dk, seed), u - di, v - dj, w - dk);
  }
  return mix(mix(mix(corner[0], corner[1], a), mix(corner[2], corner[3], a), b),
             mix(mix(corner[4], corner[5], a), mix(corner[6], corner[7], a), b), c);
}

double albedo_at(const WoodTexture& wood, const Vector3& point_body_mm) {
  const Vector3 side =
      (std::abs(wood.grain.z()) < 0.9 ? Vector3::UnitZ() : Vector3::UnitX()).cross(wood.grain).normalized();
  const Vector3 rise = wood.grain.cross(side);
  const double x = point_body_mm.dot(wood.grain), y = point_body_mm.dot(side), z = point_body_mm.dot(rise);
  const auto noise = [&](double along_mm, double across_mm, std::uint32_t layer) {
    return gradient_noise(x / along_mm, y / across_mm, z / across_mm, wood.seed * 17 + layer);
  };
  const double s = wood.shortest_mm;
  // Year rings a little over 2 mm wide, wavering; rays and flecks; fibres many times longer than wide; pores.
  const double rings = std::sin(2.0 * std::numbers::pi * (y / 2.3 + 0.8 * noise(60.0, 9.0, 1)));
  const double figure = 0.10 * rings + 0.16 * noise(9.0, 2.2, 2) + 0.20 * noise(14.0 * s, 2.2 * s, 3) +
                        0.22 * noise(6.0 * s, 1.4 * s, 4) + 0.22 * noise(2.5 * s, 1.0 * s, 5);
  double albedo = wood.mean_albedo * std::exp(wood.contrast * figure);
  if (wood.scribble > 0.0) albedo *= 1.0 - wood.scribble * pencil(point_body_mm, wood.seed);
  return std::clamp(albedo, 0.02, 0.98);
}

}  // namespace rimwright
