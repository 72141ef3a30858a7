// The scene a simulated phone looks at: body, target and table, hit by rays (Embree) and shaded.
#pragma once

#include <memory>

#include "simulate/photo_camera.h"

namespace rimwright {

// Height in the body frame of the table the body stands on, on blocks.
[[nodiscard]] double table_height_mm(const PhotoMesh& mesh, double blocks_mm);

class RayScene {
 public:
  explicit RayScene(const PhotoScene& scene);
  ~RayScene();
  RayScene(const RayScene&) = delete;
  RayScene& operator=(const RayScene&) = delete;

  // Linear light, 1 = white paper in full light, coming back along a ray given in the body frame (unit direction).
  [[nodiscard]] double light_along(const Vector3& from_body_mm, const Vector3& direction_body) const;

 private:
  struct State;
  std::unique_ptr<State> state_;
};

}  // namespace rimwright
