// A solid wood texture: how bright the wood is at a place in the body, so that grain runs through edges and shows as
// end grain where a face cuts across it. Band-limited gradient noise (Perlin, SIGGRAPH 1985), no images.
#pragma once

#include <cstdint>

#include "core/frames.h"

namespace rimwright {

struct WoodTexture {
  double mean_albedo = 0.45;         // reflected share; spruce about 0.55, walnut 0.2
  double contrast = 1.0;             // 1 = figured wood, 0.35 = pale and scarcely figured, 0 = paper
  double shortest_mm = 0.35;         // shortest wavelength across the grain; about three pixels of a 12-megapixel photo
  double scribble = 0.0;             // share of light a pencil line takes away; 0 = no scribble, 0.6 = soft pencil
  Vector3 grain = Vector3::UnitX();  // unit direction of the fibres in the body
  std::uint32_t seed = 1;
};

// Albedo in [0.02, 0.98] at a point in the body frame.
[[nodiscard]] double albedo_at(const WoodTexture& wood, const Vector3& point_body_mm);

// Gradient noise of unit wavelength, about +-0.7, zero mean; smooth and without detail below about half a unit.
[[nodiscard]] double gradient_noise(double x, double y, double z, std::uint32_t seed);

}  // namespace rimwright
