#include "simulate/depth_camera.h"

#include <gtest/gtest.h>

#include <algorithm>
#include <cmath>

namespace rimwright {
namespace {

constexpr std::uint64_t seed = 20;

// A wall 1 m wide at z = distance_mm, turned about the vertical axis by turn_deg, as two triangles.
MeshRays wall(double distance_mm, double turn_deg) {
  const double turn = radians_from_degrees(turn_deg);
  const Vector3 across(500.0 * std::cos(turn), 0.0, 500.0 * std::sin(turn)), down(0.0, 500.0, 0.0);
  const Vector3 middle(0.0, 0.0, distance_mm);
  std::vector<Eigen::Vector3f> vertices;
  for (const auto& [a, d] : {std::pair{-1, -1}, {1, -1}, {1, 1}, {-1, 1}}) {
    vertices.push_back((middle + a * across + d * down).cast<float>());
  }
  return {vertices, {{0, 1, 2}, {0, 2, 3}}};
}

Transform at_origin(double /*time_frames*/) { return Transform::Identity(); }

DepthCamera perfect() {
  DepthCamera camera;
  camera.axial_share = 0.0;
  camera.lateral_share = 0.0;
  camera.flying_share = 0.0;
  camera.missing_from_deg = 88.0;
  camera.missing_to_deg = 89.0;
  return camera;
}

// Nguyen, Izadi, Lovell 2012 (formulas from memory), worked by hand: at 0.3 m the square is 0.01; at 75 degrees
// theta / (pi/2 - theta) is 5.
TEST(DepthCamera, ClosedForms) {
  EXPECT_NEAR(axial_sigma_mm(300.0, 0.0), 1.219, 1e-9);
  EXPECT_NEAR(axial_sigma_mm(1000.0, 0.5), 1.2 + 1.9 * 0.36, 1e-9);
  EXPECT_NEAR(axial_sigma_mm(300.0, radians_from_degrees(75.0)), 1.219 + 0.1 / std::sqrt(0.3) * 25.0, 1e-9);
  EXPECT_NEAR(lateral_sigma_px(0.0), 0.8, 1e-12);
  EXPECT_NEAR(lateral_sigma_px(radians_from_degrees(45.0)), 0.835, 1e-12);
}

TEST(DepthCamera, PerfectCameraReadsAWallToACount) {
  const auto camera = perfect();
  const double turn_deg = 40.0;
  const auto counts = record_depth(wall(300.0, turn_deg), camera, at_origin, 0, 0.0, seed);
  const double slope = std::tan(radians_from_degrees(turn_deg));
  for (std::size_t row = 0; row < 480; row += 37) {
    for (std::size_t column = 0; column < 640; column += 41) {
      const double x = (static_cast<double>(column) - camera.column_centre_px()) / camera.focal_px;
      const double z_mm = 300.0 / (1.0 - slope * x);  // z = 300 + slope x z
      // Half a count of rounding, and single-precision rays.
      EXPECT_NEAR(counts[row * 640 + column] * camera.mm_per_count, z_mm, 0.5 * camera.mm_per_count + 1e-3);
    }
  }
}

TEST(DepthCamera, NoiseIsThePublishedOne) {
  for (const double range_mm : {300.0, 700.0}) {
    DepthCamera camera;
    camera.flying_share = 0.0;
    const auto counts = record_depth(wall(range_mm, 0.0), camera, at_origin, 0, 0.0, seed);
    double sum = 0.0, square = 0.0, n = 0.0, expected_square = 0.0;
    for (std::size_t i = 0; i < counts.size(); ++i) {
      const double x = (static_cast<double>(i % 640) - camera.column_centre_px()) / camera.focal_px;
      const double y = (static_cast<double>(i / 640) - camera.row_centre_px()) / camera.focal_px;
      const double incidence = std::atan(std::hypot(x, y));
      const double error = counts[i] * camera.mm_per_count - range_mm;
      sum += error;
      square += error * error;
      expected_square += std::pow(axial_sigma_mm(range_mm, incidence), 2);
      n += 1.0;
    }
    const double expected = std::sqrt(expected_square / n);
    EXPECT_NEAR(sum / n, 0.0, 5.0 * expected / std::sqrt(n)) << "seed " << seed;
    EXPECT_NEAR(std::sqrt(square / n), expected, 5.0 * expected / std::sqrt(2.0 * n) + camera.mm_per_count / 12.0);
  }
  EXPECT_GT(axial_sigma_mm(700.0, 0.0), axial_sigma_mm(400.0, 0.0));  // the two ranges do differ
}

TEST(DepthCamera, SteepFacesReturnLessAndThenNothing) {
  auto camera = perfect();
  camera.missing_from_deg = 50.0;
  camera.missing_to_deg = 70.0;
  const auto returned = [&](double turn_deg) {
    // A narrow view, so that the whole image has nearly one incidence.
    DepthCamera narrow = camera;
    narrow.focal_px = 20000.0;
    const auto counts = record_depth(wall(300.0, turn_deg), narrow, at_origin, 0, 0.0, seed);
    return static_cast<double>(counts.size() - static_cast<std::size_t>(std::count(counts.begin(), counts.end(), 0))) /
           static_cast<double>(counts.size());
  };
  EXPECT_DOUBLE_EQ(returned(45.0), 1.0);
  EXPECT_NEAR(returned(60.0), 0.5, 0.03);  // half way; the view is 1.8 degrees wide: 0.05 of the ramp either side
  EXPECT_DOUBLE_EQ(returned(75.0), 0.0);
}

TEST(DepthCamera, FlyingPixelsLieBetweenTheFaces) {
  // Two walls, the left at 300 mm, the right at 340 mm.
  const std::vector<Eigen::Vector3f> vertices{{-500, -500, 300}, {0, -500, 300},   {0, 500, 300},   {-500, 500, 300},
                                              {-5, -500, 340},   {500, -500, 340}, {500, 500, 340}, {-5, 500, 340}};
  const MeshRays scene(vertices, {{0, 1, 2}, {0, 2, 3}, {4, 5, 6}, {4, 6, 7}});
  for (const double share : {0.0, 1.0}) {
    auto camera = perfect();
    camera.flying_share = share;
    const auto counts = record_depth(scene, camera, at_origin, 0, 0.0, seed);
    const auto between = std::count_if(counts.begin(), counts.end(), [&](std::uint16_t count) {
      return count * camera.mm_per_count > 300.5 && count * camera.mm_per_count < 339.5;
    });
    // One or two pixels beside the step in each of 480 rows, unless their draw falls at an end.
    if (share == 0.0) {
      EXPECT_EQ(between, 0);
    } else {
      EXPECT_GT(between, 480);
    }
  }
}

TEST(DepthCamera, ScaleAndTiltErrorsAreAdded) {
  auto camera = perfect();
  camera.scale_error = 0.01;
  camera.tilt_error_mm = 2.0;
  const auto start = record_depth(wall(300.0, 0.0), camera, at_origin, 0, 0.0, seed);
  const auto quarter = record_depth(wall(300.0, 0.0), camera, at_origin, 0, 0.25, seed);  // the swing's crest
  const std::size_t right = 240 * 640 + 639;
  EXPECT_NEAR(start[right] * camera.mm_per_count, 303.0, camera.mm_per_count);
  EXPECT_NEAR(quarter[right] * camera.mm_per_count, 305.0, camera.mm_per_count);
  EXPECT_NEAR(quarter[240 * 640] * camera.mm_per_count, 301.0, camera.mm_per_count);
}

TEST(DepthCamera, SeedDecides) {
  const DepthCamera camera;
  const auto scene = [] { return wall(300.0, 10.0); };
  const auto once = record_depth(scene(), camera, at_origin, 3, 0.1, seed);
  EXPECT_EQ(once, record_depth(scene(), camera, at_origin, 3, 0.1, seed));
  EXPECT_NE(once, record_depth(scene(), camera, at_origin, 3, 0.1, seed + 1));
  EXPECT_NE(once, record_depth(scene(), camera, at_origin, 4, 0.1, seed));
}

}  // namespace
}  // namespace rimwright
