// A depth camera that looks at a mesh: what it would record, with the errors such cameras have.
//
// Noise along the axis and the wander of edges follow the closed forms of Nguyen, Izadi and Lovell, "Modeling Kinect
// sensor noise for improved 3D reconstruction and tracking", 3DIMPVT 2012 (z in metres, theta the incidence):
//   sigma_z = 0.0012 + 0.0019 (z - 0.4)^2                       theta from 10 to 60 degrees
//             + 0.0001 / sqrt(z) theta^2 / (pi/2 - theta)^2     beyond 60 degrees
//   sigma_L = 0.8 + 0.035 theta / (pi/2 - theta)                pixels
// quoted from memory. At 300 mm sigma_z is 1.22 mm; `axial_share` and `lateral_share` scale the two to other sensors.
// Flying pixels, missing returns and slow scale and tilt errors have no published form that fits all sensors; theirs
// are common practice, no source.
//
// Camera frame: x right, y down, z forward; pixel centres have whole-number coordinates; lengths are millimetres.
#pragma once

#include <array>
#include <cstdint>
#include <functional>
#include <memory>
#include <vector>

#include "core/frames.h"

namespace rimwright {

struct DepthCamera {
  int width_px = 640;
  int height_px = 480;
  double focal_px = 615.0;         // square pixels, principal point in the middle; 0.49 mm a pixel at 300 mm
  double mm_per_count = 0.05;      // quantisation: 20000 counts a metre
  double nearest_mm = 100.0;       // nothing is returned from closer
  double farthest_mm = 1500.0;     // nor from farther
  double axial_share = 1.0;        // times sigma_z
  double lateral_share = 1.0;      // times sigma_L
  double flying_share = 0.5;       // of the pixels beside a step in depth, the part that mixes both sides
  double flying_step_mm = 1.5;     // the least step that mixes
  double missing_from_deg = 65.0;  // incidence from which returns begin to fail, at first none
  double missing_to_deg = 85.0;    // and at which all have failed
  double scale_error = 0.0;        // relative: depth is read (1 + scale_error) times the truth
  double scale_swing = 0.0;        // relative: slow change about scale_error, one wave over the capture
  double tilt_error_mm = 0.0;      // added at the right edge, taken off at the left, swinging likewise
  double rolling_share = 0.0;      // of a frame's time, spent reading from the first row to the last

  [[nodiscard]] double column_centre_px() const { return 0.5 * (width_px - 1); }
  [[nodiscard]] double row_centre_px() const { return 0.5 * (height_px - 1); }
};

// 0.08 mm at 300 mm, no systematic error, all rows at once.
[[nodiscard]] DepthCamera structured_light_class();
// 1.2 mm at 300 mm as published, half a percent of scale error with a slow swing, tilt and rolling rows.
[[nodiscard]] DepthCamera phone_class();

// The closed forms above, unscaled: millimetres and pixels for a range in millimetres and an incidence in radians.
[[nodiscard]] double axial_sigma_mm(double z_mm, double incidence_rad);
[[nodiscard]] double lateral_sigma_px(double incidence_rad);

// A mesh ready for rays. Copies the mesh; safe to use from several threads.
class MeshRays {
 public:
  MeshRays(const std::vector<Eigen::Vector3f>& vertices_mm, const std::vector<std::array<std::uint32_t, 3>>& triangles);
  ~MeshRays();
  MeshRays(const MeshRays&) = delete;
  MeshRays& operator=(const MeshRays&) = delete;

  struct Hit {
    bool seen = false;
    double distance = 0.0;              // in lengths of the direction
    Vector3 normal = Vector3::UnitZ();  // unit, of the triangle
    std::uint32_t triangle = 0;         // its index
  };
  [[nodiscard]] Hit cast(const Vector3& from_mm, const Vector3& direction) const;

 private:
  struct State;
  std::unique_ptr<State> state_;
};

// The pose of the camera at a time counted in frames: frame k is taken about time k.
using CameraPath = std::function<Transform(double time_frames)>;

// Counts, row-major, 0 = nothing returned. `share_of_capture` (0 to 1) places the frame in the slow swings. Random
// numbers depend on seed and frame only.
[[nodiscard]] std::vector<std::uint16_t> record_depth(const MeshRays& scene, const DepthCamera& camera,
                                                      const CameraPath& T_body_camera_at, std::size_t frame,
                                                      double share_of_capture, std::uint64_t seed);

}  // namespace rimwright
