#include "capture/depth/scale_from_target.h"

#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include <cmath>

#include "depth_folder.h"
#include "simulate/random.h"

namespace rimwright {
namespace {

using rimwright_test::DepthFolder;

constexpr std::uint64_t seed = 11;
const PinholeIntrinsics camera{640, 480, 615.0, 615.0, 319.5, 239.5};

// The sheet at a pose, as colour (16 samples a pixel, so that edges are grey as a lens makes them) and as depth that
// reads long by `scale_error`, with noise.
void add_view(DepthCapture& capture, const DepthFolder& folder, const Transform& T_camera_target, double print_factor,
              double scale_error, double sigma_mm, Random& random) {
  const ScaleTarget target;
  const auto artwork = draw_scale_target(target);
  ASSERT_TRUE(artwork);
  const Transform T_target_camera = T_camera_target.inverse();
  // The sheet drawn once, ten cells a millimetre: the squares' sides fall on cell sides.
  static const cv::Mat sheet = [&] {
    cv::Mat drawn(1360, 1870, CV_8UC1, cv::Scalar(230));
    for (const auto& [rectangles, value] : {std::pair{&artwork->black_mm, 25.0}, {&artwork->white_mm, 230.0}}) {
      for (const auto& [left, top, width, height] : *rectangles) {
        const auto cell = [](double place_mm) { return static_cast<int>(std::lround(10.0 * place_mm)); };
        drawn(cv::Range(cell(top), cell(top + height)), cv::Range(cell(left), cell(left + width))).setTo(value);
      }
    }
    return drawn;
  }();
  const auto brightness = [&](const Vector3& ray) {
    const Vector3 direction = T_target_camera.linear() * ray, from = T_target_camera.translation();
    const Vector3 on_sheet = 10.0 * (from - from.z() / direction.z() * direction) / print_factor;
    const int column = static_cast<int>(std::floor(on_sheet.x())), row = static_cast<int>(std::floor(on_sheet.y()));
    if (column < 0 || row < 0 || column >= sheet.cols || row >= sheet.rows) return 230.0;
    return static_cast<double>(sheet.at<std::uint8_t>(row, column));
  };
  cv::Mat colour(camera.height_px, camera.width_px, CV_8UC1);
  DepthFrame frame;
  const Vector3 normal = T_camera_target.linear().col(2);
  const double offset_mm = normal.dot(T_camera_target.translation());
  for (int row = 0; row < camera.height_px; ++row) {
    for (int column = 0; column < camera.width_px; ++column) {
      double sum = 0.0;
      for (int sample = 0; sample < 16; ++sample) {
        sum += brightness(camera.ray(column - 0.375 + 0.25 * (sample % 4), row - 0.375 + 0.25 * (sample / 4)));
      }
      colour.at<std::uint8_t>(row, column) = static_cast<std::uint8_t>(std::lround(sum / 16.0));
      const double z_mm = offset_mm / normal.dot(camera.ray(column, row));
      const double read_mm = z_mm * (1.0 + scale_error) + sigma_mm * random.normal();
      frame.counts.push_back(static_cast<std::uint16_t>(std::lround(read_mm / capture.mm_per_count)));
    }
  }
  frame.name = std::to_string(capture.frames.size()) + ".png";
  frame.colour_file = folder.path() / frame.name;
  folder.image(frame.name, colour);
  capture.frames.push_back(std::move(frame));
}

Transform sheet_at(double z_mm, double tilt_deg, double turn_deg) {
  Transform pose = Transform::Identity();
  pose.linear() = (Eigen::AngleAxisd(radians_from_degrees(tilt_deg), Vector3::UnitX()) *
                   Eigen::AngleAxisd(radians_from_degrees(turn_deg), Vector3::UnitZ()))
                      .toRotationMatrix();
  pose.translation() = Vector3(0.0, 0.0, z_mm) - pose.linear() * Vector3(93.5, 68.0, 0.0);
  return pose;
}

TEST(ScaleFromTarget, HalfAPercentOfScaleErrorIsFoundAndTakenOut) {
  const DepthFolder folder("depth_target");
  DepthCapture capture;
  capture.intrinsics = camera;
  capture.mm_per_count = 0.05;
  Random random(seed);
  constexpr double scale_error = 0.005, print_factor = 0.996;  // the printer shrank the sheet: its bar is 99.6 mm
  for (const auto& [z_mm, tilt_deg, turn_deg] :
       {std::tuple{290.0, 0.0, 0.0}, {310.0, 20.0, 5.0}, {330.0, -25.0, -8.0}, {300.0, 10.0, 12.0}}) {
    add_view(capture, folder, sheet_at(z_mm, tilt_deg, turn_deg), print_factor, scale_error, 1.2, random);
  }
  Workers workers;
  TargetScaleSettings settings;
  settings.bar_mm = 99.6;
  const auto scale = scale_from_target(capture, settings, workers);
  ASSERT_TRUE(scale) << scale.error().sentence();
  EXPECT_EQ(scale->images, 4u);
  // Four planes of some 60000 pixels of 1.2 mm: 1e-5; corners good to 0.1 pixel of 350: 3e-5 with 70 of them; the
  // finder's own bias may reach a tenth of a pixel over the board, 3e-4.
  EXPECT_NEAR(scale->factor * (1.0 + scale_error), 1.0, 5e-4);
  EXPECT_LT(scale->relative_u, 0.001);   // bar 0.05 %, plane 0.03 %
  EXPECT_GT(scale->relative_u, 0.0005);  // the bar's reading alone

  Cloud cloud;
  cloud.x = {100.5F};
  cloud.y = {0.0F};
  cloud.z = {0.0F};
  cloud.sigma_mm = {1.0F};
  apply_target_scale(cloud, *scale, settings);
  EXPECT_NEAR(static_cast<double>(cloud.x[0]), 100.0, 0.05);
  EXPECT_EQ(cloud.scale.relative_standard_u, scale->relative_u);

  // Without the bar, the print's 0.5 % is what is left.
  settings.bar_mm = 0.0;
  const auto unmeasured = scale_from_target(capture, settings, workers);
  ASSERT_TRUE(unmeasured);
  EXPECT_NEAR(unmeasured->factor * print_factor, scale->factor, 1e-9);
  EXPECT_GT(unmeasured->relative_u, 0.005);
}

TEST(ScaleFromTarget, WithoutTheTargetThereIsNoScale) {
  const DepthFolder folder("depth_no_target");
  DepthCapture capture;
  capture.intrinsics = camera;
  DepthFrame frame;
  frame.counts.assign(640 * 480, 300);
  capture.frames.assign(2, frame);
  Workers workers;
  const auto none = scale_from_target(capture, {}, workers);
  ASSERT_TRUE(none);
  EXPECT_EQ(none->images, 0u);
  folder.image("grey.png", cv::Mat(480, 640, CV_8UC1, cv::Scalar(128)));
  capture.frames[0].colour_file = folder.path() / "grey.png";
  const auto unseen = scale_from_target(capture, {}, workers);
  ASSERT_TRUE(unseen);
  EXPECT_EQ(unseen->images, 0u);
  Cloud cloud;
  cloud.x = {1.0F};
  cloud.scale.relative_standard_u = 0.01;
  apply_target_scale(cloud, *unseen, {});
  EXPECT_EQ(cloud.x[0], 1.0F);
  EXPECT_EQ(cloud.scale.relative_standard_u, 0.01);
}

TEST(ScaleFromTarget, Refusals) {
  const DepthFolder folder("depth_target_refused");
  DepthCapture capture;
  capture.intrinsics = camera;
  DepthFrame frame;
  frame.counts.assign(640 * 480, 300);
  capture.frames.assign(2, frame);
  Workers workers;
  TargetScaleSettings settings;
  settings.bar_mm = 3.94;  // inches taken for millimetres
  const auto bar = scale_from_target(capture, settings, workers);
  ASSERT_FALSE(bar);
  EXPECT_EQ(bar.error().reason, RefusalReason::scale_unknown);
  folder.image("small.png", cv::Mat(240, 320, CV_8UC1, cv::Scalar(128)));
  capture.frames[0].colour_file = folder.path() / "small.png";
  const auto unused = scale_from_target(capture, {}, workers);
  ASSERT_TRUE(unused);
  EXPECT_EQ(unused->images, 0u);
  EXPECT_FALSE(unused->note.empty());
  settings.bar_mm = 99.6;  // whoever measured the bar counts on the target
  const auto size = scale_from_target(capture, settings, workers);
  ASSERT_FALSE(size);
  EXPECT_EQ(size.error().reason, RefusalReason::capture_insufficient);
  folder.text("broken.png", "no image");
  capture.frames[0].colour_file = folder.path() / "broken.png";
  const auto broken = scale_from_target(capture, {}, workers);
  ASSERT_FALSE(broken);
  EXPECT_EQ(broken.error().reason, RefusalReason::capture_insufficient);
}

// A picture of 64 MiB and one of 64 million pixels are looked at, and one of a byte or a row more is not. What they
// lack in bytes is a hole behind the end of the PNG; grey of one shade packs a thousandfold.
TEST(ScaleFromTarget, AGiganticPictureIsNotLookedAt) {
  const DepthFolder folder("depth_gigantic_colour");
  DepthCapture capture;
  capture.intrinsics = camera;
  DepthFrame frame;
  frame.counts.assign(640 * 480, 300);
  frame.colour_file = folder.path() / "grey.png";
  capture.frames.assign(1, frame);
  Workers workers;
  const auto refused = [&] {
    const auto scale = scale_from_target(capture, {}, workers);
    return scale ? "looked at" : scale.error().sentence();
  };
  folder.image("grey.png", cv::Mat(480, 640, CV_8UC1, cv::Scalar(128)));
  std::filesystem::resize_file(frame.colour_file, std::uintmax_t{64} << 20);
  EXPECT_EQ(refused(), "looked at");
  std::filesystem::resize_file(frame.colour_file, (std::uintmax_t{64} << 20) + 1);
  EXPECT_THAT(refused(), testing::HasSubstr("grey.png cannot be read"));
  capture.intrinsics.width_px = capture.intrinsics.height_px = 8000;
  capture.frames[0].counts.clear();  // without corners nobody asks for them
  folder.image("grey.png", cv::Mat(8000, 8000, CV_8UC1, cv::Scalar(128)));
  EXPECT_EQ(refused(), "looked at");
  folder.image("grey.png", cv::Mat(8001, 8000, CV_8UC1, cv::Scalar(128)));
  EXPECT_THAT(refused(), testing::HasSubstr("grey.png cannot be read"));
}

}  // namespace
}  // namespace rimwright
