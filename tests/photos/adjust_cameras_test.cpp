#include "capture/photos/adjust_cameras.h"

#include <gtest/gtest.h>

#include <cmath>
#include <cstdio>
#include <opencv2/calib3d.hpp>
#include <opencv2/imgcodecs.hpp>
#include <opencv2/imgproc.hpp>
#include <random>

#include "capture/photos/match_features.h"

namespace rimwright {
namespace {

constexpr const char* samples = "/usr/share/doc/opencv-doc/examples/data/";  // Debian package opencv-doc
constexpr int across = 9, down = 6;                                          // inner corners of its chessboard
constexpr double square_mm = 25.0;                                           // as left_intrinsics.yml says

struct Stereo {
  CameraNetwork network;  // photos 0..12 left, 13..25 right
  std::vector<std::vector<Vector2>> pixels;
  double opencv_focal_px = 0.0;  // of the left camera, by OpenCV's own calibration with the same terms
};

Stereo calibrate_samples() {
  Stereo s;
  CameraNetwork& n = s.network;
  n.lenses.resize(2);
  std::vector<cv::Point3f> board;
  for (int i = 0; i < across * down; ++i) {
    const Vector3 at(square_mm * (i % across), -square_mm * (i / across), 0.0);  // y up
    n.points.push_back({at, at, Vector3::Constant(1e-3), true});
    board.emplace_back(static_cast<float>(at.x()), static_cast<float>(at.y()), 0.0f);
  }
  for (const char* side : {"left", "right"}) {
    std::vector<std::vector<cv::Point2f>> all;
    for (int i = 1; i <= 14; ++i) {
      if (i == 10) continue;
      char name[200];
      std::snprintf(name, sizeof name, "%s%s%02d.jpg", samples, side, i);
      const cv::Mat picture = cv::imread(name, cv::IMREAD_GRAYSCALE);
      if (picture.empty()) return s;
      std::vector<cv::Point2f> corners;
      if (!cv::findChessboardCorners(picture, {across, down}, corners)) return s;
      cv::cornerSubPix(picture, corners, {5, 5}, {-1, -1}, {cv::TermCriteria::EPS + cv::TermCriteria::COUNT, 60, 1e-4});
      const std::size_t lens = side[0] == 'l' ? 0 : 1;
      n.lenses[lens] = {500.0, 319.5, 239.5, 0, 0, 0, 0};
      n.lens_of.push_back(lens);
      n.size_px.emplace_back(picture.cols, picture.rows);
      cv::Vec3d turn, shift;
      const cv::Matx33d camera(500, 0, 319.5, 0, 500, 239.5, 0, 0, 1);
      cv::solvePnP(board, corners, camera, cv::noArray(), turn, shift);
      cv::Matx33d rotation;
      cv::Rodrigues(turn, rotation);
      Transform T = Transform::Identity();
      for (int r = 0; r < 3; ++r) {
        for (int c = 0; c < 3; ++c) T(r, c) = rotation(r, c);
        T(r, 3) = shift[r];
      }
      n.T_camera_sheet.push_back(T);
      n.focal_factor.push_back(1.0);
      n.centre_shift_px.push_back(Vector2::Zero());
      n.placed.push_back(true);
      std::vector<Vector2> seen;
      for (std::size_t k = 0; k < corners.size(); ++k) {
        seen.emplace_back(corners[k].x, corners[k].y);
        n.sightings.push_back(
            {static_cast<std::uint32_t>(n.lens_of.size() - 1), static_cast<std::uint32_t>(k), seen.back()});
      }
      s.pixels.push_back(seen);
      all.push_back(corners);
    }
    if (side[0] == 'r') continue;
    cv::Mat camera = (cv::Mat_<double>(3, 3) << 500, 0, 319.5, 0, 500, 239.5, 0, 0, 1), distortion;
    std::vector<cv::Mat> turns, shifts;
    cv::calibrateCamera(std::vector<std::vector<cv::Point3f>>(all.size(), board), all, {640, 480}, camera, distortion,
                        turns, shifts, cv::CALIB_USE_INTRINSIC_GUESS | cv::CALIB_FIX_ASPECT_RATIO | cv::CALIB_FIX_K3);
    s.opencv_focal_px = camera.at<double>(0, 0);
  }
  return s;
}

// OpenCV's sample stereo images: published calibration intrinsics fx 535.916, average reprojection error 0.393 px for
// the left camera (left_intrinsics.yml beside the images).
TEST(AdjustCameras, CalibratesTheSampleChessboardsAsPublished) {
  Stereo s = calibrate_samples();
  ASSERT_EQ(s.pixels.size(), 26u) << "every sample pair must be found";
  AdjustCamerasSettings settings;
  settings.drifts_free = false;
  settings.target_sigma_px = 0.2;
  settings.distortion_prior = 1.0;
  settings.rounds = 3;
  const auto report = adjust_cameras(s.network, settings);
  ASSERT_TRUE(report);
  EXPECT_LT(report->target_rms_px * std::sqrt(2.0),
            0.393);  // theirs is the length of the residual, ours a coordinate's
  // Another program's answer to the same question; ours drops gross corners (of left02 above all), theirs keeps them.
  EXPECT_NEAR(s.network.lenses[0].focal_px, s.opencv_focal_px, 0.005 * s.opencv_focal_px);
  // The published lens has a third radial term, which trades against the focal length; the two files published
  // (535.916 and, in intrinsics.yml, 534.803) already differ by 0.2 %.
  EXPECT_NEAR(s.network.lenses[0].focal_px, 535.916, 0.01 * 535.916);
  std::printf("focal %.3f px, OpenCV %.3f, rms of a coordinate %.4f px\n", s.network.lenses[0].focal_px,
              s.opencv_focal_px, report->target_rms_px);
  EXPECT_NEAR(s.network.lenses[0].centre_x_px, 342.283, 3.0);
  EXPECT_NEAR(s.network.lenses[0].centre_y_px, 235.571, 3.0);
  EXPECT_NEAR(s.network.lenses[0].k1, -0.266, 0.05);

  // Squares rebuilt from the two views of each pair alone, against their known ratio: all equal to 1.
  const std::vector<View> views = s.network.views();
  std::vector<double> sides;
  for (std::uint32_t pair = 0; pair < 13; ++pair) {
    std::vector<Vector3> corners;
    for (std::size_t k = 0; k < 54; ++k) {
      Vector3 at;
      // Both cameras' poses come from this very board; relative pose from another pair would test the rig, not us.
      ASSERT_TRUE(intersect_rays(views, {{pair, 0, s.pixels[pair][k]}, {pair + 13, 0, s.pixels[pair + 13][k]}}, at));
      corners.push_back(at);
    }
    for (std::size_t k = 0; k + 1 < 54; ++k) {
      if (k % across != across - 1) sides.push_back((corners[k + 1] - corners[k]).norm() / square_mm);
    }
  }
  double mean = 0.0, spread = 0.0;
  for (double side : sides) mean += side / static_cast<double>(sides.size());
  for (double side : sides) spread += (side - mean) * (side - mean) / static_cast<double>(sides.size());
  // About 3 corner positions of 0.2 px at some 30 px a square: 1 % a square, and 624 squares in the mean.
  EXPECT_NEAR(mean, 1.0, 0.002);
  EXPECT_LT(std::sqrt(spread), 0.03);
}

// Normal case of stereo: sigma_Z = Z^2 / (B f) sigma_parallax (Luhmann et al., Close-Range Photogrammetry, ch. 4),
// with sigma_parallax = sqrt 2 sigma_px for two independent pictures.
TEST(IntersectRays, NormalCasePrecisionIsClosedForm) {
  std::mt19937 dice(7);
  const double f = 3000.0, sigma_px = 0.1;
  double last = 0.0;
  for (const double base_mm : {40.0, 80.0, 160.0}) {
    for (const double z_mm : {250.0, 500.0}) {
      std::vector<View> views(2);
      for (View& view : views) view.lens = {f, 2015.5, 1511.5, 0, 0, 0, 0}, view.width = 4032, view.height = 3024;
      views[1].T_camera_sheet.translation() = Vector3(-base_mm, 0, 0);
      const Vector3 truth(0.5 * base_mm, 10.0, z_mm);
      std::normal_distribution<double> noise(0.0, sigma_px);
      constexpr int repeats = 4000;
      double sum = 0.0;
      for (int i = 0; i < repeats; ++i) {
        std::vector<Sighting> seen;
        for (std::uint32_t k = 0; k < 2; ++k) {
          seen.push_back({k, 0, project(views[k], truth) + Vector2(noise(dice), noise(dice))});
        }
        Vector3 at;
        ASSERT_TRUE(intersect_rays(views, seen, at));
        sum += std::pow(at.z() - truth.z(), 2);
      }
      const double expected = z_mm * z_mm / (base_mm * f) * std::sqrt(2.0) * sigma_px;
      const double found = std::sqrt(sum / repeats);
      EXPECT_NEAR(found, expected, 4.0 * expected / std::sqrt(2.0 * repeats)) << "base " << base_mm << " z " << z_mm;
      EXPECT_NE(found, last);
      last = found;
    }
  }
}

// A made-up network with known lens, drifts and noise: everything comes back within its noise.
TEST(AdjustCameras, RecoversAKnownNetwork) {
  const unsigned seed = 11;
  std::printf("seed %u\n", seed);
  std::mt19937 dice(seed);
  std::normal_distribution<double> normal;
  const Lens truth{2990.0, 2030.0, 1500.0, 0.06, -0.09, 0.0007, -0.0005};
  CameraNetwork n;
  n.lenses = {{2950.0, 2015.5, 1511.5, 0, 0, 0, 0}};
  for (int i = 0; i < 70; ++i) {
    const Vector3 at(17.0 * (i % 10 + 1), -17.0 * (i / 10 + 1), 0.0);
    n.points.push_back({at, at, Vector3(0.02, 0.02, 0.5), true});
  }
  for (int i = 0; i < 150; ++i) {
    const Vector3 at(250.0 * normal(dice) * 0.3 + 90.0, -170.0 + 30.0 * normal(dice), -20.0 + 10.0 * normal(dice));
    n.points.push_back({at, at, Vector3::Zero(), false});
  }
  const std::vector<NetworkPoint> true_points = n.points;
  const double noise_px = 0.03;
  std::vector<double> true_factor;
  for (std::uint32_t photo = 0; photo < 20; ++photo) {
    const double azimuth = radians_from_degrees(-60.0 + 6.0 * photo),
                 elevation = radians_from_degrees(25.0 + 20.0 * (photo % 3));
    const Vector3 aim(90, -120, -5);
    const Vector3 away(std::sin(azimuth) * std::cos(elevation), -std::cos(azimuth) * std::cos(elevation),
                       std::sin(elevation));
    Matrix3 turn;
    const Vector3 right = (-away).cross(Vector3::UnitZ()).normalized();
    turn << right.transpose(), (-away).cross(right).transpose(), (-away).transpose();
    if (photo % 4 == 3) turn = Eigen::AngleAxisd(1.57, Vector3::UnitZ()).toRotationMatrix() * turn;
    View view;
    view.T_camera_sheet.linear() = turn;
    view.T_camera_sheet.translation() = -turn * (aim + 340.0 * away);
    view.lens = truth;
    true_factor.push_back(1.0 + 0.001 * normal(dice));
    view.lens.focal_px *= true_factor.back();
    view.lens.centre_x_px += 2.0 * normal(dice);
    view.lens.centre_y_px += 2.0 * normal(dice);
    n.lens_of.push_back(0);
    n.size_px.emplace_back(4032, 3024);
    n.focal_factor.push_back(1.0);
    n.centre_shift_px.push_back(Vector2::Zero());
    n.placed.push_back(true);
    Transform start = view.T_camera_sheet;
    start.translation() += Vector3(2.0 * normal(dice), 2.0 * normal(dice), 4.0 * normal(dice));
    n.T_camera_sheet.push_back(start);
    for (std::uint32_t k = 0; k < n.points.size(); ++k) {
      const Vector2 pixel = project(view, n.points[k].at_sheet_mm);
      if (pixel.minCoeff() < 0 || pixel.x() > 4031 || pixel.y() > 3023) continue;
      n.sightings.push_back({photo, k, pixel + noise_px * Vector2(normal(dice), normal(dice))});
    }
  }
  for (NetworkPoint& p : n.points) {
    if (!p.on_target) p.at_sheet_mm += Vector3(normal(dice), normal(dice), normal(dice)) * 0.5;
  }
  // Gross errors: they must be dropped and change nothing.
  for (std::size_t i = 0; i < n.sightings.size(); i += 97) n.sightings[i].pixel += Vector2(5.0, -4.0);
  const auto report = adjust_cameras(n, {});
  ASSERT_TRUE(report);
  EXPECT_NEAR(report->tie_sigma_px, noise_px, 0.15 * noise_px);
  EXPECT_GE(report->dropped, 30u);
  // The surface, not the lens numbers, is what counts (focal length trades against distance).
  double worst = 0.0;
  for (std::size_t k = 0; k < n.points.size(); ++k) {
    if (!true_points[k].on_target)
      worst = std::max(worst, (n.points[k].at_sheet_mm - true_points[k].at_sheet_mm).norm());
  }
  // 0.03 px at 0.115 mm a pixel is 0.0035 mm a sighting; the whole network may lean with the board's prior (0.02 mm
  // over 70 corners). 10 sigma of a single sighting bounds both.
  EXPECT_LT(worst, 0.035);
  EXPECT_NEAR(n.lenses[0].k1, truth.k1, 0.003);
  EXPECT_NEAR(n.lenses[0].centre_x_px, truth.centre_x_px, 4.0);
}

}  // namespace
}  // namespace rimwright
