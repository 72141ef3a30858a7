// A small simulated capture for the tests of alignment and fusion: a quarter of the pixels, a third of the images.
#pragma once

#include <Eigen/Geometry>

#include "capture/depth/depth_capture.h"
#include "simulate/body_file.h"
#include "simulate/write_depth_capture.h"

namespace rimwright_test {

using namespace rimwright;

inline Body sound_body(BodyFile* file = nullptr) {
  auto read = read_body_file(RIMWRIGHT_SAMPLES "/bodies/octave-mandola-sound.yaml");
  if (file) *file = *read;
  return *Body::from(read->body);
}

// A quarter of the classes' view at their resolution: 320 x 240 pixels of 0.49 mm at 300 mm.
inline DepthCamera small_camera(DepthCamera camera) {
  camera.width_px = 320;
  camera.height_px = 240;
  camera.tilt_error_mm *= 0.5;  // the same tilt, at edges half as far from the middle
  return camera;
}

inline HandHeldPath short_path() {
  HandHeldPath path;
  path.from_mm = 60.0;
  path.to_mm = 460.0;
  path.frames = 40;
  path.swings = 1.0;
  path.sideways_deg = 6.0;
  return path;
}

inline DepthCapture in_memory(const RecordedCapture& recorded, const DepthCamera& camera) {
  DepthCapture capture;
  capture.intrinsics = {camera.width_px, camera.height_px,          camera.focal_px,
                        camera.focal_px, camera.column_centre_px(), camera.row_centre_px()};
  capture.mm_per_count = camera.mm_per_count;
  for (std::size_t i = 0; i < recorded.frames.size(); ++i) {
    capture.frames.push_back({"image " + std::to_string(i), {}, recorded.frames[i], std::nullopt});
  }
  return capture;
}

// Absolute trajectory error (Sturm et al., IROS 2012): rms distance after the best rigid alignment. `ahead_mm` takes a
// place on the optical axis instead of the camera's own (0): where it looks is what is measured.
inline double absolute_trajectory_error_mm(const std::vector<Transform>& estimate, const std::vector<Transform>& truth,
                                           double ahead_mm) {
  Eigen::Matrix3Xd a(3, estimate.size()), b(3, estimate.size());
  for (std::size_t i = 0; i < estimate.size(); ++i) {
    a.col(static_cast<Eigen::Index>(i)) = estimate[i] * Vector3(0.0, 0.0, ahead_mm);
    b.col(static_cast<Eigen::Index>(i)) = truth[i] * Vector3(0.0, 0.0, ahead_mm);
  }
  const Eigen::Matrix4d best = Eigen::umeyama(a, b, false);
  const Eigen::Vector3d shift = best.topRightCorner<3, 1>();
  const Eigen::Matrix3Xd left = ((best.topLeftCorner<3, 3>() * a).colwise() + shift) - b;
  return std::sqrt(left.colwise().squaredNorm().mean());
}

}  // namespace rimwright_test
