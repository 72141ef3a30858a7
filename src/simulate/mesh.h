// A triangle mesh of a body's seen surface, for renderers.
#pragma once

#include <array>
#include <cstdint>
#include <vector>

#include "simulate/body.h"

namespace rimwright {

struct MeshSettings {
  double station_step_mm = 0.6;       // along the rim; finer where local defects and channel ends need it
  double across_step_mm = 3.0;        // across plain faces
  double fine_step_mm = 0.4;          // along and across where a face carries a bump
  double from_mm = 0.0, to_mm = 0.0;  // part of the rim; equal = all of it
};

// Body frame, millimetres. Triangles turn counter-clockwise seen from the air. Every crease of the surface runs along
// triangle sides. With the defaults no point of a triangle is more than 0.002 mm from the true surface (rim radii of
// 70 mm and more, waves of 20 mm and more).
struct BodyMesh {
  std::vector<Eigen::Vector3f> vertices;
  std::vector<float> station_mm;  // of each vertex
  std::vector<std::array<std::uint32_t, 3>> triangles;
  std::vector<SurfaceLabel> labels;  // of each triangle
};

[[nodiscard]] BodyMesh mesh_body(const Body& body, const MeshSettings& settings = {});

}  // namespace rimwright
