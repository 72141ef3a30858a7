// The target in photos of a simulated phone, with all its faults: every corner that is seen, where it truly is.
#include "capture/photos/find_target.h"

#include <gtest/gtest.h>
#include <unistd.h>

#include <algorithm>
#include <cmath>
#include <cstdio>
#include <filesystem>

#include "capture/photos/camera.h"
#include "capture/photos/read_photos.h"
#include "core/median.h"
#include "simulate/photo_camera.h"

namespace rimwright {
namespace {

namespace fs = std::filesystem;

// A sheet on a table that is far below, and a phone that sees all of it as finely as 12 megapixels do: 0.12 mm a pixel.
PhotoScene sheet() {
  PhotoScene scene;
  scene.mesh.vertices_body_mm = {{-200, -200, -60}, {200, -200, -60}, {0, 200, -60}};
  scene.mesh.triangles = {{0, 1, 2}};
  scene.target.T_body_target.linear().diagonal() = Vector3(1, -1, -1);
  scene.target.T_body_target.translation() = Vector3(-93.5, 68.0, 0.0);
  return scene;
}

PhoneCamera phone() {
  PhoneCamera phone;
  phone.width = 1600;
  phone.height = 1200;
  phone.focal_mm_35 = 60.0;
  return phone;
}

PhotoShot shot_from(double elevation_deg, double azimuth_deg) {
  constexpr double reach_mm = 330.0;
  const double elevation = radians_from_degrees(elevation_deg), azimuth = radians_from_degrees(azimuth_deg);
  const Vector3 away(std::cos(azimuth) * std::cos(elevation), std::sin(azimuth) * std::cos(elevation),
                     std::sin(elevation));
  const Vector3 right = Vector3::UnitZ().cross(away).normalized();
  PhotoShot shot;
  shot.T_camera_body.linear() << right.transpose(), -away.cross(right).transpose(), -away.transpose();
  shot.T_camera_body.translation() = -shot.T_camera_body.linear() * (reach_mm * away);
  shot.focus_mm = reach_mm;
  return shot;
}

TEST(FindTarget, CornersLieWhereTheyTrulyAre) {
  const fs::path folder = fs::path(testing::TempDir()) / ("find-target" + std::to_string(getpid()));
  fs::create_directories(folder);
  Workers workers(2);
  const PhotoScene scene = sheet();
  const auto truths = take_photos(scene, {phone()}, {shot_from(70, -80), shot_from(45, -110), shot_from(28, -70)},
                                  {4, 1}, folder, workers);
  ASSERT_TRUE(truths);
  const auto set = read_photos(folder, {}, workers);
  fs::remove_all(folder);
  ASSERT_TRUE(set);
  ASSERT_EQ(set->photos.size(), 3u);
  const ScaleTarget target;
  const std::vector<Vector3> corners_mm = target_corners_mm(target);
  for (std::size_t i = 0; i < 3; ++i) {
    const PhotoTruth& truth = (*truths)[i];
    const Lens lens{truth.fx,
                    truth.cx,
                    truth.cy,
                    truth.k1_k2_p1_p2[0],
                    truth.k1_k2_p1_p2[1],
                    truth.k1_k2_p1_p2[2],
                    truth.k1_k2_p1_p2[3]};
    const Transform T_camera_target = truth.T_camera_body * scene.target.T_body_target;
    std::vector<double> off_px;
    Vector2 sum = Vector2::Zero();
    for (const TargetCorner& corner : find_target(set->photos[i], target, {})) {
      const Vector3& mm = corners_mm[static_cast<std::size_t>(corner.index)];
      const Vector2 error = corner.pixel - project_camera_point(lens, T_camera_target * mm);
      off_px.push_back(error.norm());
      sum += error;
    }
    // Four rays a pixel leave an edge's pixels uncertain by about 0.15 of its height, and an edge of 2 arms of 35
    // pixels, half of that where it is foreshortened, by 0.03 to 0.05 of a pixel; a corner is where two edges meet.
    ASSERT_GT(off_px.size(), 60u) << truth.name;
    EXPECT_LT(median_of(off_px), 0.08) << truth.name;
    EXPECT_LT(*std::max_element(off_px.begin(), off_px.end()), 0.3) << truth.name;
    const auto count = static_cast<double>(off_px.size());
    EXPECT_LT(sum.norm() / count, 4.0 * 0.08 / std::sqrt(count)) << truth.name;  // and lean to no side
    std::printf("%s: %zu corners, median %.3f px, farthest %.3f\n", truth.name.c_str(), off_px.size(),
                median_of(off_px), *std::max_element(off_px.begin(), off_px.end()));
  }
}

}  // namespace
}  // namespace rimwright
