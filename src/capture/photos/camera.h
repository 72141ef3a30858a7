// Cameras: lens numbers shared by the photos of one phone, a pose and small drifts for each photo.
//
// The frame of everything here is the sheet: millimetres, origin at the board's outer top left corner as printed, x
// right, y UP the page, z out of the page; a sheet lying on the top thus has z up.
// T_sheet_target = diag(1, -1, -1), see scale_target.h.
#pragma once

#include <array>
#include <cmath>
#include <cstdint>
#include <string>
#include <vector>

#include "core/frames.h"

namespace rimwright {

// Brown's model with square pixels, as in OpenCV: radial k1, k2, tangential p1, p2.
struct Lens {
  double focal_px = 0.0;
  double centre_x_px = 0.0, centre_y_px = 0.0;
  double k1 = 0.0, k2 = 0.0, p1 = 0.0, p2 = 0.0;
};

// One photo's camera, with its own focal length and centre already applied to the lens.
struct View {
  Transform T_camera_sheet = Transform::Identity();
  Lens lens;
  int width = 0, height = 0;

  [[nodiscard]] Vector3 centre_sheet_mm() const {
    return -(T_camera_sheet.linear().transpose() * T_camera_sheet.translation());
  }
};

// Pixel of a point given in camera coordinates (z > 0).
[[nodiscard]] inline Vector2 project_camera_point(const Lens& lens, const Vector3& p) {
  const double x = p.x() / p.z(), y = p.y() / p.z();
  const double r2 = x * x + y * y, radial = 1.0 + r2 * (lens.k1 + r2 * lens.k2);
  const double xd = x * radial + 2.0 * lens.p1 * x * y + lens.p2 * (r2 + 2.0 * x * x);
  const double yd = y * radial + lens.p1 * (r2 + 2.0 * y * y) + 2.0 * lens.p2 * x * y;
  return {lens.focal_px * xd + lens.centre_x_px, lens.focal_px * yd + lens.centre_y_px};
}

[[nodiscard]] inline Vector2 project(const View& view, const Vector3& point_sheet_mm) {
  return project_camera_point(view.lens, view.T_camera_sheet * point_sheet_mm);
}

// Unit direction, in the camera frame, of the ray through a pixel.
[[nodiscard]] Vector3 ray_through(const Lens& lens, const Vector2& pixel);

// A point seen in several photos: a board corner, whose place is known beforehand to a prior, or a tie point (free).
struct NetworkPoint {
  Vector3 at_sheet_mm = Vector3::Zero();
  Vector3 prior_sheet_mm = Vector3::Zero();
  Vector3 prior_sigma_mm = Vector3::Zero();  // 0 = no prior
  bool on_target = false;
};

struct Sighting {
  std::uint32_t photo = 0;
  std::uint32_t point = 0;
  Vector2 pixel = Vector2::Zero();
};

// Photos, points and sightings between them: what a bundle adjustment works on.
struct CameraNetwork {
  std::vector<Lens> lenses;               // by lens number
  std::vector<std::size_t> lens_of;       // by photo
  std::vector<Transform> T_camera_sheet;  // by photo
  std::vector<double> focal_factor;       // by photo, about 1
  std::vector<Vector2> centre_shift_px;   // by photo, about 0
  std::vector<bool> placed;               // by photo: has a pose
  std::vector<NetworkPoint> points;
  std::vector<Sighting> sightings;
  std::vector<Vector2> size_px;  // by photo: width, height

  [[nodiscard]] View view(std::size_t photo) const {
    View v;
    v.T_camera_sheet = T_camera_sheet[photo];
    v.lens = lenses[lens_of[photo]];
    v.lens.focal_px *= focal_factor[photo];
    v.lens.centre_x_px += centre_shift_px[photo].x();
    v.lens.centre_y_px += centre_shift_px[photo].y();
    v.width = static_cast<int>(size_px[photo].x());
    v.height = static_cast<int>(size_px[photo].y());
    return v;
  }
  [[nodiscard]] std::vector<View> views() const {
    std::vector<View> all;
    for (std::size_t i = 0; i < lens_of.size(); ++i) all.push_back(view(i));
    return all;
  }
};

}  // namespace rimwright
