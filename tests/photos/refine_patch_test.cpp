#include "capture/photos/refine_patch.h"

#include <gtest/gtest.h>

#include <algorithm>
#include <cmath>
#include <cstdio>
#include <functional>
#include <opencv2/imgcodecs.hpp>
#include <opencv2/imgproc.hpp>
#include <random>

namespace rimwright {
namespace {

Photo photo_of(const cv::Mat& grey) {
  Photo photo;
  photo.width = grey.cols;
  photo.height = grey.rows;
  photo.grey.assign(grey.datastart, grey.dataend);
  return photo;
}

// A smooth random picture painted on the plane z = 0: a sum of waves, so that its value is exact anywhere.
double painted(double x_mm, double y_mm) {
  static const auto waves = [] {
    std::mt19937 dice(3);
    std::uniform_real_distribution<double> angle(0.0, 2.0 * M_PI), length(0.5, 2.5);
    std::vector<std::array<double, 3>> made;
    for (int i = 0; i < 40; ++i) {
      const double a = angle(dice), k = 2.0 * M_PI / length(dice);
      made.push_back({k * std::cos(a), k * std::sin(a), angle(dice)});
    }
    return made;
  }();
  double sum = 0.0;
  for (const auto& [kx, ky, phase] : waves) sum += std::sin(kx * x_mm + ky * y_mm + phase);
  return 120.0 + 10.0 * sum;
}

struct PaintedScene {
  PhotoStack stack;
  PhotoSet set;
};

// Five cameras 300 mm away look at a painted surface, with noise of the given grey levels. `paint_at`: where on the
// paint a ray ends.
PaintedScene look_at(double noise, unsigned seed,
                     const std::function<Vector2(const Vector3& from, const Vector3& ray)>& paint_at) {
  PaintedScene scene;
  std::mt19937 dice(seed);
  std::normal_distribution<double> grain(0.0, noise);
  for (int i = 0; i < 5; ++i) {
    const double a = 2.0 * M_PI * i / 5.0;
    const Vector3 away = Vector3(0.45 * std::cos(a), 0.45 * std::sin(a), 1.0).normalized();
    View view;
    const Vector3 right = (-away).cross(Vector3::UnitY()).normalized();
    view.T_camera_sheet.linear() << right.transpose(), (-away).cross(right).transpose(), (-away).transpose();
    view.T_camera_sheet.translation() = -view.T_camera_sheet.linear() * (300.0 * away);
    view.lens = {2500.0, 99.5, 99.5, 0.05, 0, 0, 0};
    view.width = view.height = 200;
    cv::Mat grey(200, 200, CV_8U);
    for (int row = 0; row < 200; ++row) {
      for (int column = 0; column < 200; ++column) {
        const Vector3 ray = view.T_camera_sheet.linear().transpose() * ray_through(view.lens, Vector2(column, row));
        const Vector2 hit = paint_at(view.centre_sheet_mm(), ray);
        const double gain = 0.8 + 0.08 * i, offset = 4.0 * i;  // every photo is exposed in its own way
        grey.at<std::uint8_t>(row, column) =
            cv::saturate_cast<std::uint8_t>(gain * painted(hit.x(), hit.y()) + offset + grain(dice));
      }
    }
    scene.stack.views.push_back(view);
    scene.set.photos.push_back(photo_of(grey));
  }
  Workers workers(1);
  scene.stack.photos = smooth_photos(scene.set, 0.8, workers);
  return scene;
}

// The tilted, shifted plane.
PaintedScene look_at_plane(double noise, unsigned seed, const Vector3& at, const Vector3& normal) {
  const Vector3 e1 = normal.cross(Vector3::UnitY()).normalized(), e2 = normal.cross(e1);
  return look_at(noise, seed, [&](const Vector3& from, const Vector3& ray) {
    const Vector3 hit = from + ray * ((at - from).dot(normal) / ray.dot(normal)) - at;
    return Vector2(hit.dot(e1), hit.dot(e2));
  });
}

// A cylinder along y, whose highest line lies at x = z = 0.
PaintedScene look_at_cylinder(double noise, unsigned seed, double radius_mm) {
  return look_at(noise, seed, [&](const Vector3& from, const Vector3& ray) {
    const Vector2 f(from.x(), from.z() + radius_mm), r(ray.x(), ray.z());
    const double a = r.squaredNorm(), b = f.dot(r), c = f.squaredNorm() - radius_mm * radius_mm;
    const Vector3 hit = from + ray * ((-b - std::sqrt(std::max(0.0, b * b - a * c))) / a);
    return Vector2(radius_mm * std::atan2(hit.x(), hit.z() + radius_mm), hit.y());
  });
}

TEST(RefinePatch, FindsAPlaneAsWellAsItsNoiseAllows) {
  const Vector3 at(0.3, -0.2, 0.1);
  const Vector3 normal = Vector3(0.12, -0.08, 1.0).normalized();
  double last_rms = 0.0;
  for (const double noise : {1.0, 4.0}) {
    double sum = 0.0, claimed = 0.0, tilt = 0.0;
    int count = 0;
    for (unsigned seed = 1; seed <= 4; ++seed) {
      const PaintedScene scene = look_at_plane(noise, seed, at, normal);
      for (double x = -4.0; x <= 4.0; x += 2.0) {
        for (double y = -4.0; y <= 4.0; y += 2.0) {
          Patch patch;
          patch.at_sheet_mm = Vector3(x, y, 0.0);  // off the plane by up to a millimetre less the tilt: see below
          patch.at_sheet_mm.z() = at.z() - (normal.x() * (x - at.x()) + normal.y() * (y - at.y())) / normal.z() + 0.08;
          patch.normal_sheet = Vector3::UnitZ();
          const std::vector<std::uint16_t> photos{0, 1, 2, 3, 4};
          ASSERT_EQ(refine_patch(scene.stack, photos, {}, patch), PatchFate::good);
          sum += std::pow((patch.at_sheet_mm - at).dot(normal), 2);
          claimed += patch.sigma_mm * patch.sigma_mm;
          tilt = std::max(tilt, std::acos(std::min(1.0, patch.normal_sheet.dot(normal))));
          ++count;
        }
      }
    }
    const double rms = std::sqrt(sum / count);
    std::printf("noise %.0f: rms %.5f mm, claimed %.5f mm, worst tilt %.3f deg\n", noise, rms,
                std::sqrt(claimed / count), degrees_from_radians(tilt));
    // A pixel is 0.12 mm, rays lean by 24 degrees: one pixel of parallax is about 0.27 mm. LSM reaches a few
    // hundredths of a pixel: 0.01 mm.
    EXPECT_LT(rms, 0.01);
    EXPECT_LT(degrees_from_radians(tilt), 2.0);
    EXPECT_GT(rms, last_rms);  // more noise, more error
    last_rms = rms;
    // Clustered sigma has 5 photos behind it: right within a factor of two on independent noise.
    EXPECT_GT(std::sqrt(claimed / count), 0.5 * rms);
    EXPECT_LT(std::sqrt(claimed / count), 2.5 * rms);
  }
}

// A patch as of a ledge's wall where a run-out bends it: long along the bend, narrow across.
TEST(RefinePatch, FollowsABendItIsToldOf) {
  constexpr double radius_mm = 20.0;  // of the sharpest run-outs
  RefinePatchSettings narrow;
  narrow.half_along_mm = 2.2, narrow.half_across_mm = 0.4, narrow.tilt_across_free = false;
  double bent = 0.0, flat = 0.0;
  std::size_t bent_agrees = 0, flat_agrees = 0, count = 0;
  for (unsigned seed = 1; seed <= 3; ++seed) {
    const PaintedScene scene = look_at_cylinder(2.0, seed, radius_mm);
    for (double x = -3.0; x <= 3.0; x += 1.5) {
      for (double y = -4.0; y <= 4.0; y += 1.0) {
        const double angle = x / radius_mm;
        Patch start;
        start.at_sheet_mm = Vector3(radius_mm * std::sin(angle), y, radius_mm * (std::cos(angle) - 1.0));
        start.normal_sheet = Vector3(std::sin(angle), 0.0, std::cos(angle));
        start.along_sheet = Vector3(std::cos(angle), 0.0, -std::sin(angle));
        const Vector3 true_at = start.at_sheet_mm, true_normal = start.normal_sheet;
        start.at_sheet_mm += 0.06 * start.normal_sheet;
        // The edge's direction is known to two degrees: so far is the start turned.
        const double turn = radians_from_degrees(2.0);
        start.normal_sheet = std::cos(turn) * true_normal + std::sin(turn) * start.along_sheet;
        start.along_sheet = std::cos(turn) * start.along_sheet - std::sin(turn) * true_normal;
        const std::vector<std::uint16_t> photos{0, 1, 2, 3, 4};
        ++count;
        for (const double bend : {1.0 / radius_mm, 0.0}) {
          Patch patch = start;
          patch.bend_per_mm = bend;
          if (refine_patch(scene.stack, photos, narrow, patch) != PatchFate::good) continue;
          const double off = std::pow((patch.at_sheet_mm - true_at).dot(true_normal), 2);
          (bend > 0.0 ? bent : flat) += off;
          ++(bend > 0.0 ? bent_agrees : flat_agrees);
          EXPECT_EQ(patch.half_along_mm, narrow.half_along_mm);
        }
      }
    }
  }
  bent = std::sqrt(bent / static_cast<double>(bent_agrees));
  flat = std::sqrt(flat / static_cast<double>(std::max<std::size_t>(1, flat_agrees)));
  std::printf("bent: rms %.4f mm of %zu; flat: %.4f mm of %zu; asked %zu\n", bent, bent_agrees, flat, flat_agrees,
              count);
  EXPECT_GT(bent_agrees, count * 9 / 10);
  // A tenth of the area of a square patch: three times its hundredth of a millimetre. A flat patch lies behind the
  // middle by the mean of the bulge, half^2 / (6 radius) = 0.04 mm, and more.
  EXPECT_LT(bent, 0.03);
  EXPECT_GT(flat, 0.04);
}

TEST(RefinePatch, PlainSurfaceIsNotBelieved) {
  PaintedScene scene = look_at_plane(1.0, 1, Vector3::Zero(), Vector3::UnitZ());
  for (Photo& photo : scene.set.photos) std::fill(photo.grey.begin(), photo.grey.end(), std::uint8_t{130});
  Workers workers(1);
  scene.stack.photos = smooth_photos(scene.set, 0.8, workers);
  Patch patch;
  const std::vector<std::uint16_t> photos{0, 1, 2, 3, 4};
  EXPECT_EQ(refine_patch(scene.stack, photos, {}, patch), PatchFate::too_plain);
  EXPECT_EQ(refine_patch(scene.stack, std::vector<std::uint16_t>{0, 1}, {}, patch), PatchFate::too_few_photos);
}

// The aloe pair of the Debian package opencv-doc (Middlebury 2006, Scharstein and Pal, CVPR 2007): rectified views at
// full size with their true disparity in pixels (a grey level a pixel). The stereo rig is written as two cameras on
// a short base, so that a pixel of disparity is a few tenths of a millimetre, as in photos of wood.
TEST(RefinePatch, AgreesWithTheTrueDisparityOfTheAloe) {
  const std::string data = "/usr/share/doc/opencv-doc/examples/data/";
  const cv::Mat left = cv::imread(data + "aloeL.jpg", cv::IMREAD_GRAYSCALE);
  const cv::Mat right = cv::imread(data + "aloeR.jpg", cv::IMREAD_GRAYSCALE);
  const cv::Mat truth = cv::imread(data + "aloeGT.png", cv::IMREAD_GRAYSCALE);
  ASSERT_FALSE(left.empty() || right.empty() || truth.empty()) << "install opencv-doc";
  const double f = 400.0, base_mm = 7.5;  // base to height about 0.25, a pixel 0.1 mm wide and 0.3 mm deep
  PhotoSet set;
  set.photos = {photo_of(left), photo_of(right)};
  Workers workers(2);
  PhotoStack stack;
  stack.photos = smooth_photos(set, 0.8, workers);
  for (int i = 0; i < 2; ++i) {
    View view;
    view.lens = {f, 640.5, 554.5, 0, 0, 0, 0};
    view.width = left.cols;
    view.height = left.rows;
    view.T_camera_sheet.translation() = Vector3(-base_mm * i, 0, 0);
    stack.views.push_back(view);
  }
  std::mt19937 dice(5);
  std::uniform_real_distribution<double> off(-1.5, 1.5);
  std::vector<double> before, after;
  int tried = 0;
  for (int row = 60; row < left.rows - 60; row += 12) {
    for (int column = 300; column < left.cols - 60; column += 12) {
      const int d = truth.at<std::uint8_t>(row, column);
      // Smooth places only: a patch is flat, and the truth is in whole pixels.
      double low, high;
      cv::minMaxLoc(truth(cv::Rect(column - 8, row - 8, 17, 17)), &low, &high);
      if (d == 0 || high - low > 3.0) continue;
      ++tried;
      const double start = d + off(dice), z = f * base_mm / start;
      Patch patch;
      patch.at_sheet_mm = z * Vector3((column - 640.5) / f, (row - 554.5) / f, 1.0);
      patch.normal_sheet = -Vector3::UnitZ();
      RefinePatchSettings settings;
      settings.fewest_photos = 2;
      settings.half_along_mm = settings.half_across_mm = 8.0 * z / f;  // 17 pixels square
      settings.farthest_mm = 3.0 * z / start;                          // three pixels of disparity
      settings.farthest_tilt_deg = 60.0;
      settings.correlation_floor = 0.8;
      if (refine_patch(stack, std::vector<std::uint16_t>{0, 1}, settings, patch) != PatchFate::good) continue;
      // The patch slides along its normal, so the truth is looked up where it ended.
      const Vector2 seen = project(stack.views[0], patch.at_sheet_mm);
      const int there =
          truth.at<std::uint8_t>(static_cast<int>(std::lround(seen.y())), static_cast<int>(std::lround(seen.x())));
      before.push_back(std::abs(start - d));
      after.push_back(std::abs(f * base_mm / patch.at_sheet_mm.z() - there));
    }
  }
  ASSERT_GT(after.size(), 500u);
  std::sort(before.begin(), before.end());
  std::sort(after.begin(), after.end());
  const std::size_t middle = after.size() / 2;
  std::printf("%zu of %d patches; median |disparity error| before %.3f, after %.3f px\n", after.size(), tried,
              before[middle], after[middle]);
  // The truth is in whole pixels, so half a pixel is as near as it can be asked to be met by the median; the starts
  // are spread evenly over 1.5 px either way, a median of 0.75.
  EXPECT_LT(after[middle], 0.5);
  EXPECT_LT(after[middle] + 0.2, before[middle]);
}

}  // namespace
}  // namespace rimwright
