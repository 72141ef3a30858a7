// Depth frames of the Debian package visp-images-data (GPL-2; read where it is installed, never copied): a model castle
// seen by a real structured-light camera (castel), and simulated with a known trajectory (Castle-simu).
//
// File layout: height, width (32-bit little-endian), then 16-bit counts. Units, intrinsics, distortion and transforms
// are those of ViSP's own examples mbtGenericTrackingDepth.cpp and perfGenericTracker.cpp and of the xml files beside
// the data.
#pragma once

#include <array>
#include <cmath>
#include <cstdio>
#include <fstream>
#include <string>

#include "capture/depth/depth_capture.h"

namespace rimwright_test {

using namespace rimwright;

inline const std::string visp_depth_folder = "/usr/share/visp-images-data/ViSP-images/mbt-depth/";

inline std::vector<std::uint16_t> visp_counts(const std::string& file, int& width, int& height) {
  std::ifstream stream(file, std::ios::binary);
  std::array<std::uint32_t, 2> size{};
  stream.read(reinterpret_cast<char*>(size.data()), sizeof size);
  if (!stream || size[0] > 4096 || size[1] > 4096) return {};
  height = static_cast<int>(size[0]);
  width = static_cast<int>(size[1]);
  std::vector<std::uint16_t> counts(size[0] * size[1]);
  stream.read(reinterpret_cast<char*>(counts.data()), static_cast<std::streamsize>(2 * counts.size()));
  if (!stream) return {};
  return counts;
}

// The simulated castle: pinhole, 2^-15 m a count.
inline DepthCapture simulated_castle(int frames) {
  DepthCapture capture;
  capture.intrinsics = {640, 480, 700.0, 700.0, 320.0, 240.0};
  capture.mm_per_count = 0.030518;
  for (int i = 1; i <= frames; ++i) {
    char name[64];
    std::snprintf(name, sizeof name, "Castle-simu/Depth/Depth_%04d.bin", i);
    int width = 0, height = 0;
    auto counts = visp_counts(visp_depth_folder + name, width, height);
    if (counts.empty() || width != 640 || height != 480) return {};
    capture.frames.push_back({name, {}, std::move(counts), std::nullopt});
  }
  return capture;
}

// Truth: the colour camera's pose over the object, and the depth camera 50 mm beside it.
inline std::vector<Transform> simulated_castle_truth(int frames) {
  std::vector<Transform> poses;
  for (int i = 1; i <= frames; ++i) {
    char name[64];
    std::snprintf(name, sizeof name, "Castle-simu/CameraPose/Camera_%03d.txt", i);
    std::ifstream stream(visp_depth_folder + name);
    Transform T_colour_object = Transform::Identity();
    for (int row = 0; row < 4; ++row) {
      for (int column = 0; column < 4; ++column) stream >> T_colour_object.matrix()(row, column);
    }
    if (!stream) return {};
    T_colour_object.translation() *= 1000.0;
    Transform T_depth_colour = Transform::Identity();
    T_depth_colour.translation().x() = -50.0;
    poses.push_back((T_depth_colour * T_colour_object).inverse());
  }
  return poses;
}

// The real castle. The camera's pixels are distorted (the inverse Brown-Conrady form of its maker: the coefficients
// lead from pixel to ray); the image is resampled here onto a pinhole of the same focal length, with depth interpolated
// between four pixels of one face.
inline DepthCapture real_castle(int frames) {
  constexpr double fx = 476.053619, fy = 476.053497, cx = 311.484558, cy = 246.283234;
  constexpr std::array<double, 5> c{0.165056542, -0.0508309528, 0.00435937941, 0.00541406544, 0.250085592};
  DepthCapture capture;
  capture.intrinsics = {640, 480, fx, fy, cx, cy};
  capture.mm_per_count = 0.0124986647;  // ten times finer than the file, so that interpolation is kept
  constexpr double finer = 10.0;
  std::vector<std::array<double, 2>> source(640 * 480);  // of each pinhole pixel: the place in the stored image
  for (int row = 0; row < 480; ++row) {
    for (int column = 0; column < 640; ++column) {
      const double ux = (column - cx) / fx, uy = (row - cy) / fy;
      double x = ux, y = uy;
      for (int turn = 0; turn < 30; ++turn) {
        const double r2 = x * x + y * y;
        const double f = 1.0 + c[0] * r2 + c[1] * r2 * r2 + c[4] * r2 * r2 * r2;
        x = (ux - 2.0 * c[2] * x * y - c[3] * (r2 + 2.0 * x * x)) / f;
        y = (uy - 2.0 * c[3] * x * y - c[2] * (r2 + 2.0 * y * y)) / f;
      }
      source[static_cast<std::size_t>(row * 640 + column)] = {x * fx + cx, y * fy + cy};
    }
  }
  for (int i = 0; i < frames; ++i) {
    char name[64];
    std::snprintf(name, sizeof name, "castel/castel/depth_image_%04d.bin", i);
    int width = 0, height = 0;
    const auto counts = visp_counts(visp_depth_folder + name, width, height);
    if (counts.empty() || width != 640 || height != 480) return {};
    DepthFrame frame{name, {}, std::vector<std::uint16_t>(counts.size(), 0), std::nullopt};
    for (std::size_t p = 0; p < counts.size(); ++p) {
      const double column = source[p][0], row = source[p][1];
      if (!(column >= 0.0 && row >= 0.0 && column < 639.0 && row < 479.0)) continue;
      const auto left = static_cast<std::size_t>(column), above = static_cast<std::size_t>(row);
      const double right_share = column - static_cast<double>(left), below_share = row - static_cast<double>(above);
      std::array<double, 4> z{};
      for (std::size_t k = 0; k < 4; ++k) z[k] = counts[(above + k / 2) * 640 + left + k % 2];
      const auto [least, most] = std::minmax_element(z.begin(), z.end());
      if (*least == 0.0 || *most - *least > 40.0) continue;  // 5 mm: not one face
      const double value = (1.0 - below_share) * ((1.0 - right_share) * z[0] + right_share * z[1]) +
                           below_share * ((1.0 - right_share) * z[2] + right_share * z[3]);
      if (finer * value < 65535.0) frame.counts[p] = static_cast<std::uint16_t>(std::lround(finer * value));
    }
    capture.frames.push_back(std::move(frame));
  }
  return capture;
}

}  // namespace rimwright_test
