// A phone that photographs a simulated body: rays through a distorting lens of finite aperture onto a mesh (Embree),
// wood that reflects and may shine, a printed target lying on it, and everything a phone does to the light after.
//
// Frames: body (mm, z up); camera (x right, y down, z ahead, as in OpenCV); target (see the sheet: x right, y down on
// the page, z into the page). Pixel coordinates: the centre of the top left pixel is (0, 0).
#pragma once

#include <array>
#include <cstdint>
#include <filesystem>
#include <string>
#include <vector>

#include "core/frames.h"
#include "core/parallel.h"
#include "core/refusal.h"
#include "simulate/wood_texture.h"

namespace rimwright {

struct PhotoMesh {
  std::vector<Eigen::Vector3f> vertices_body_mm;
  std::vector<std::array<std::uint32_t, 3>> triangles;  // anticlockwise from outside
};

// A printed board in the scene. The pattern is OpenCV's own drawing of a ChArUco board.
struct SimulatedTarget {
  bool present = true;
  Transform T_body_target = Transform::Identity();  // of its printed face
  double print_scale = 1.0;                         // 0.99 = printed one percent small
  double bow_mm = 0.0;                              // rise of the middle of the sheet above its short ends
};

struct PhotoScene {
  PhotoMesh mesh;
  WoodTexture wood;
  double mirror_share = 0.0;       // light reflected as by lacquer, 0 = matt, 0.04 = sealed and polished
  double mirror_width_deg = 14.0;  // half width of the shine about the mirror direction
  Vector3 light_body = Vector3(0.35, 0.5, 0.8).normalized();  // towards a window
  SimulatedTarget target;
  double table_figure = 0.0;  // 0 = nearly even, 1 = as bold as newspaper
  double blocks_mm = 20.0;    // that the body stands on
};

// One phone. The faults are standard deviations from shot to shot; pixel figures are for a width of 4032 and scale.
struct PhoneCamera {
  int width = 4032, height = 3024;
  double focal_mm_35 = 26.0;                                        // as its EXIF says
  double focal_error = 0.013;                                       // true focal length over the EXIF's, less one
  double principal_x_px = 11.0, principal_y_px = -8.0;              // off the middle of the picture
  std::array<double, 4> k1_k2_p1_p2{0.06, -0.09, 0.0007, -0.0005};  // OpenCV's model
  double focal_drift = 0.001;                                       // refocusing, per shot, of the focal length
  double principal_drift_px = 2.0;                                  // stabiliser, per shot and axis
  double aperture_mm = 2.0;                                         // diameter of the entrance pupil
  double focus_error = 0.03;                                        // of the distance focused at, per shot
  double motion_px = 0.8;                                           // length of the hand's smear, per shot and axis
  double full_well = 5000.0;                                        // electrons at white, for the shot noise
  double sharpening = 0.5;                                          // unsharp mask of 1 px
  int jpeg_quality = 90;
  std::string model = "simulated phone";
};

// Another make: wider, fewer pixels, the other sign of distortion; shaken and drifting like the first.
[[nodiscard]] PhoneCamera another_phone(const PhoneCamera& first);

struct PhotoShot {
  Transform T_camera_body = Transform::Identity();
  double focus_mm = 350.0;   // distance meant to be sharp, along the axis
  std::size_t phone = 0;     // which of the phones takes it
  bool target_there = true;  // false: the sheet has been taken away for this one
};

struct PhotoSessionSettings {
  int samples_per_pixel = 6;  // rays; they sample pixel area, lens and shutter time together
  std::uint32_t seed = 1;
};

// What was true of one photo, for the truth file.
struct PhotoTruth {
  std::string name;
  Transform T_camera_body = Transform::Identity();
  double fx = 0, fy = 0, cx = 0, cy = 0;
  std::array<double, 4> k1_k2_p1_p2{};
};

// Shots on three arcs about a stretch of rim: rim points in order, with the outward direction in plan of each.
// Elevations and azimuths as a careful builder would take them; every fourth shot turned a quarter turn.
struct ShotPlan {
  int count = 24;
  std::array<double, 3> elevations_deg{22.0, 42.0, 65.0};
  double azimuth_span_deg = 110.0;  // about the outward direction of the middle of the rim
  double wander_deg = 3.5;          // of elevation and azimuth, standard deviation
  double nearest_mm = 270.0, farthest_mm = 420.0;
};
[[nodiscard]] std::vector<PhotoShot> plan_shots(const std::vector<Vector3>& rim_body_mm,
                                                const std::vector<Vector3>& outward_body, const ShotPlan& plan,
                                                std::uint32_t seed);

// Renders photo_01.jpg ... with EXIF into an existing folder. Shots are rendered one after another,
// each with all workers; the pictures do not depend on their number. Every shot's phone must be among the phones.
// Refuses where a file cannot be written.
[[nodiscard]] Outcome<std::vector<PhotoTruth>> take_photos(const PhotoScene& scene,
                                                           const std::vector<PhoneCamera>& phones,
                                                           const std::vector<PhotoShot>& shots,
                                                           const PhotoSessionSettings& settings,
                                                           const std::filesystem::path& folder, Workers& workers);

}  // namespace rimwright
