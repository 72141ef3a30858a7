// Frames and vector types.
//
// scan  the file's coordinates times the unit factor: millimetres, any pose
// body  millimetres; z = up (away from the top), origin on the top
// rim   (station, out, up): station_mm along the rim, out_mm away from the body square to the rim in plan,
//       up_mm away from the top; (0 out, 0 up) lies near the rim corner
//
// A transform is named T_to_from: p_body = T_body_scan * p_scan. Lengths are millimetres and angles radians inside
// the program; degrees appear only at its edges, in names that say so.
#pragma once

#include <Eigen/Core>
#include <Eigen/Geometry>
#include <numbers>

namespace rimwright {

using Vector2 = Eigen::Vector2d;
using Vector3 = Eigen::Vector3d;
using Matrix3 = Eigen::Matrix3d;
using Transform = Eigen::Isometry3d;

constexpr double radians_from_degrees(double angle_deg) { return angle_deg * std::numbers::pi / 180.0; }
constexpr double degrees_from_radians(double angle_rad) { return angle_rad * 180.0 / std::numbers::pi; }

}  // namespace rimwright
