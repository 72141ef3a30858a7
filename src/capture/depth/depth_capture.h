// A depth capture in memory: frames of one pinhole depth camera, and what is known of its poses.
//
// Frames and units. Camera frame: x right, y down, z forward (the optical axis), as in the pinhole layout of Open3D
// and in the TUM RGB-D layout. A pixel centre has whole-number coordinates. Depth is along z, not along the ray.
// The capture's own world frame is 'scan'; translations are millimetres here, though the files state metres.
#pragma once

#include <cstdint>
#include <filesystem>
#include <optional>
#include <string>
#include <vector>

#include "core/frames.h"

namespace rimwright {

struct PinholeIntrinsics {
  int width_px = 0;
  int height_px = 0;
  double fx_px = 0.0, fy_px = 0.0;  // focal lengths
  double cx_px = 0.0, cy_px = 0.0;  // principal point

  // The ray of a pixel, scaled to z = 1.
  [[nodiscard]] Vector3 ray(double column_px, double row_px) const {
    return {(column_px - cx_px) / fx_px, (row_px - cy_px) / fy_px, 1.0};
  }
};

struct DepthFrame {
  std::string name;                        // for people: the file's name
  std::filesystem::path colour_file;       // empty when there is none
  std::vector<std::uint16_t> counts;       // row-major, height x width; 0 = nothing seen
  std::optional<Transform> T_scan_camera;  // as given, millimetres; absent when the capture has no poses
};

struct DepthCapture {
  PinholeIntrinsics intrinsics;
  double mm_per_count = 1.0;
  std::vector<DepthFrame> frames;  // in the order of capture; at least two, each with something seen
  std::vector<std::string> notes;  // what a reader of the report should know, a sentence each
};

}  // namespace rimwright
