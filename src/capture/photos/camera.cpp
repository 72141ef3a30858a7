#include "capture/photos/camera.h"

namespace rimwright {

Vector3 ray_through(const Lens& lens, const Vector2& pixel) {
  const Vector2 distorted((pixel.x() - lens.centre_x_px) / lens.focal_px,
                          (pixel.y() - lens.centre_y_px) / lens.focal_px);
  Vector2 p = distorted;
  for (int i = 0; i < 10; ++i) {  // fixed point; converges fast for the mild distortion of phone lenses
    const double r2 = p.squaredNorm(), radial = 1.0 + r2 * (lens.k1 + r2 * lens.k2);
    const Vector2 tangential(2.0 * lens.p1 * p.x() * p.y() + lens.p2 * (r2 + 2.0 * p.x() * p.x()),
                             lens.p1 * (r2 + 2.0 * p.y() * p.y()) + 2.0 * lens.p2 * p.x() * p.y());
    p = (distorted - tangential) / radial;
  }
  return Vector3(p.x(), p.y(), 1.0).normalized();
}

}  // namespace rimwright
