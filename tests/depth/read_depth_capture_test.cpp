#include "capture/depth/read_depth_capture.h"

#include <gtest/gtest.h>

#include "depth_folder.h"

namespace rimwright {
namespace {

using rimwright_test::DepthFolder;

const std::string identity_pose = "0 0 1\n1 0 0 0\n0 1 0 0\n0 0 1 0\n0 0 0 1\n";

// Two frames of 32 x 24 pixels that read well; each refusal below spoils one thing.
void write_sound_capture(const DepthFolder& folder) {
  folder.intrinsics(32, 24, 40.0);
  folder.flat_frame("depth/000.png", 32, 24, 300);
  folder.flat_frame("depth/001.png", 32, 24, 310);
}

RefusalReason reason_of(const DepthFolder& folder, const ReadDepthSettings& settings = {}) {
  const auto capture = read_depth_capture(folder.path(), settings);
  if (capture) {
    ADD_FAILURE() << "was read";
    return RefusalReason::not_seen;
  }
  EXPECT_FALSE(capture.error().what.empty());
  EXPECT_FALSE(capture.error().what_to_do.empty());
  EXPECT_EQ(capture.error().what.find('\n'), std::string::npos);
  return capture.error().reason;
}

TEST(ReadDepthCapture, PlainLayoutGivesCountsScaleAndOrder) {
  const DepthFolder folder("depth_plain");
  write_sound_capture(folder);
  folder.text("capture.json", "{\"depth_scale\": 2000}");
  folder.text("trajectory.log", identity_pose + "1 1 2\n0 -1 0 0.5\n1 0 0 -0.25\n0 0 1 0.125\n0 0 0 1\n");
  const auto capture = read_depth_capture(folder.path());
  ASSERT_TRUE(capture) << capture.error().sentence();
  ASSERT_EQ(capture->frames.size(), 2u);
  EXPECT_DOUBLE_EQ(capture->mm_per_count, 0.5);
  EXPECT_EQ(capture->intrinsics.width_px, 32);
  EXPECT_DOUBLE_EQ(capture->intrinsics.cx_px, 15.5);
  EXPECT_EQ(capture->frames[0].counts[5 * 32 + 7], 300);
  EXPECT_EQ(capture->frames[1].counts[0], 310);
  ASSERT_TRUE(capture->frames[1].T_scan_camera);
  const Vector3 moved = *capture->frames[1].T_scan_camera * Vector3(1.0, 2.0, 3.0);
  EXPECT_NEAR((moved - Vector3(498.0, -249.0, 128.0)).norm(), 0.0, 1e-9);  // by hand; metres become millimetres
}

TEST(ReadDepthCapture, DefaultIsOneCountAMillimetre) {
  const DepthFolder folder("depth_default");
  write_sound_capture(folder);
  const auto capture = read_depth_capture(folder.path());
  ASSERT_TRUE(capture);
  EXPECT_DOUBLE_EQ(capture->mm_per_count, 1.0);
  EXPECT_FALSE(capture->frames[0].T_scan_camera);
}

// Layout, 5000 counts a metre and association within 0.02 s: the file format page of the TUM RGB-D benchmark
// (Sturm, Engelhard, Endres, Burgard, Cremers, IROS 2012), from memory.
TEST(ReadDepthCapture, TumLayoutAssociatesByTime) {
  const DepthFolder folder("depth_tum");
  write_sound_capture(folder);
  folder.flat_frame("depth/002.png", 32, 24, 305);
  folder.text("associations.txt",
              "# colour first, then depth\n"
              "10.001 rgb/a.png 10.000 depth/000.png\n10.101 rgb/b.png 10.100 depth/001.png\n"
              "10.201 rgb/c.png 10.200 depth/002.png\n");
  folder.text("groundtruth.txt",
              "# time tx ty tz qx qy qz qw\n9.995 0 0 0 0 0 0 1\n10.103 0.1 0 0 0 0 0.70710678 0.70710678\n"
              "10.230 0.2 0 0 0 0 0 1\n");
  const auto capture = read_depth_capture(folder.path());
  ASSERT_TRUE(capture) << capture.error().sentence();
  EXPECT_DOUBLE_EQ(capture->mm_per_count, 0.2);
  ASSERT_EQ(capture->frames.size(), 3u);
  ASSERT_TRUE(capture->frames[0].T_scan_camera);
  ASSERT_TRUE(capture->frames[1].T_scan_camera);
  EXPECT_FALSE(capture->frames[2].T_scan_camera);  // 0.03 s away: beyond the gap
  EXPECT_FALSE(capture->notes.empty());
  const Vector3 moved = *capture->frames[1].T_scan_camera * Vector3(1.0, 0.0, 0.0);
  EXPECT_NEAR((moved - Vector3(100.0, 1.0, 0.0)).norm(), 0.0, 1e-6);  // a quarter turn about z; 8 digits given
  EXPECT_EQ(capture->frames[2].colour_file.filename(), "c.png");
}

TEST(ReadDepthCapture, NumbersInNamesOrderTheImages) {
  const DepthFolder folder("depth_order");
  folder.intrinsics(32, 24, 40.0);
  for (const int number : {10, 2, 1, 9}) {
    folder.flat_frame("depth/" + std::to_string(number) + ".png", 32, 24, static_cast<std::uint16_t>(300 + number));
  }
  const auto capture = read_depth_capture(folder.path());
  ASSERT_TRUE(capture) << capture.error().sentence();
  ASSERT_EQ(capture->frames.size(), 4u);
  EXPECT_EQ(capture->frames[0].counts[0], 301);
  EXPECT_EQ(capture->frames[1].counts[0], 302);
  EXPECT_EQ(capture->frames[2].counts[0], 309);
  EXPECT_EQ(capture->frames[3].counts[0], 310);
}

// Open3D writes a camera's parameters with the pinhole layout under "intrinsic".
TEST(ReadDepthCapture, CameraParametersHoldTheIntrinsics) {
  const DepthFolder folder("depth_parameters");
  write_sound_capture(folder);
  folder.text(
      "intrinsic.json",
      "{\"class_name\": \"PinholeCameraParameters\", \"extrinsic\": [1,0,0,0,0,1,0,0,0,0,1,0,0,0,0,1], "
      "\"intrinsic\": {\"width\": 32, \"height\": 24, \"intrinsic_matrix\": [41, 0, 0, 0, 42, 0, 15.5, 11.5, 1]}}");
  const auto capture = read_depth_capture(folder.path());
  ASSERT_TRUE(capture) << capture.error().sentence();
  EXPECT_DOUBLE_EQ(capture->intrinsics.fx_px, 41.0);
  EXPECT_DOUBLE_EQ(capture->intrinsics.fy_px, 42.0);
}

TEST(ReadDepthCapture, ATimedTrajectoryFindsImagesNamedByTheirTime) {
  const DepthFolder folder("depth_named_by_time");
  folder.intrinsics(32, 24, 40.0);
  folder.flat_frame("depth/1305031102.160407.png", 32, 24, 300);
  folder.flat_frame("depth/1305031102.194330.png", 32, 24, 300);
  folder.text("trajectory.txt", "1305031102.1758 0 0 0 0 0 0 1\n1305031102.2000 0.1 0 0 0 0 0 1\n");
  const auto capture = read_depth_capture(folder.path());
  ASSERT_TRUE(capture) << capture.error().sentence();
  ASSERT_TRUE(capture->frames[0].T_scan_camera && capture->frames[1].T_scan_camera);
  EXPECT_NEAR(capture->frames[1].T_scan_camera->translation().x(), 100.0, 1e-9);
}

TEST(ReadDepthCapture, ATrajectoryThatCannotBeMatchedIsLeftOutWithANote) {
  for (const char* name : {"depth/image_0.png", "depth/5.png"}) {
    const DepthFolder folder("depth_unmatched");
    write_sound_capture(folder);
    folder.flat_frame(name, 32, 24, 300);
    folder.text("groundtruth.txt", "1305031102.1758 0 0 0 0 0 0 1\n");
    const auto capture = read_depth_capture(folder.path());
    ASSERT_TRUE(capture) << capture.error().sentence();
    EXPECT_FALSE(capture->frames[0].T_scan_camera);
    ASSERT_EQ(capture->notes.size(), 1u);
    EXPECT_NE(capture->notes[0].find("groundtruth.txt was not used"), std::string::npos);
  }
}

TEST(ReadDepthCapture, TumListsWithoutAssociationGetColourByTime) {
  const DepthFolder folder("depth_tum_lists");
  write_sound_capture(folder);
  folder.text("depth.txt", "10.000 depth/000.png\n10.100 depth/001.png\n");
  folder.text("rgb.txt", "9.950 rgb/a.png\n10.015 rgb/b.png\n10.150 rgb/c.png\n");
  const auto capture = read_depth_capture(folder.path());
  ASSERT_TRUE(capture) << capture.error().sentence();
  EXPECT_EQ(capture->frames[0].colour_file.filename(), "b.png");
  EXPECT_TRUE(capture->frames[1].colour_file.empty());  // 0.05 s away
  folder.text("rgb.txt", "10.000 ../elsewhere.png\n");
  EXPECT_EQ(reason_of(folder), RefusalReason::file_malformed);
}

TEST(ReadDepthCapture, RefusesDepthThatReadsInAnotherUnit) {
  const DepthFolder folder("depth_unit");
  write_sound_capture(folder);
  folder.text("capture.json", "{\"depth_scale\": 20000}");  // 15 mm from the camera
  EXPECT_EQ(reason_of(folder), RefusalReason::units_doubtful);
  folder.text("capture.json", "{\"depth_scale\": 100}");  // 3 m
  EXPECT_EQ(reason_of(folder), RefusalReason::units_doubtful);
  folder.text("capture.json", "{\"depth_scale\": 1000}");
  EXPECT_TRUE(read_depth_capture(folder.path()));
}

TEST(ReadDepthCapture, RefusesWithoutIntrinsics) {
  const DepthFolder folder("depth_no_intrinsics");
  write_sound_capture(folder);
  std::filesystem::remove(folder.path() / "intrinsic.json");
  EXPECT_EQ(reason_of(folder), RefusalReason::file_not_found);
}

TEST(ReadDepthCapture, RefusesIntrinsicsThatAreNotAPinhole) {
  const DepthFolder folder("depth_bad_intrinsics");
  write_sound_capture(folder);
  for (const char* text :
       {"", "[]", "{\"width\": 32}", "{\"width\": 32, \"height\": 24, \"intrinsic_matrix\": [40, 0, 0, 0, 40]}",
        "{\"width\": 32, \"height\": 24, \"intrinsic_matrix\": [40, 0, 15.5, 0, 40, 11.5, 0, 0, 1]}",  // row-major
        "{\"width\": 1e9, \"height\": 24, \"intrinsic_matrix\": [40, 0, 0, 0, 40, 0, 15.5, 11.5, 1]}",
        "{\"width\": \"32\", \"height\": 24, \"intrinsic_matrix\": [40, 0, 0, 0, 40, 0, 15.5, 11.5, 1]}",
        "{\"width\": 32, \"height\": 24, \"intrinsic_matrix\": [-40, 0, 0, 0, 40, 0, 15.5, 11.5, 1]}"}) {
    SCOPED_TRACE(text);
    folder.text("intrinsic.json", text);
    const auto capture = read_depth_capture(folder.path());
    ASSERT_FALSE(capture);
    EXPECT_TRUE(capture.error().reason == RefusalReason::file_malformed ||
                capture.error().reason == RefusalReason::file_not_readable);
  }
}

TEST(ReadDepthCapture, RefusesSizesThatDisagree) {
  const DepthFolder folder("depth_sizes");
  write_sound_capture(folder);
  folder.flat_frame("depth/001.png", 30, 24, 300);
  EXPECT_EQ(reason_of(folder), RefusalReason::capture_insufficient);
}

TEST(ReadDepthCapture, RefusesColourThatDoesNotPair) {
  const DepthFolder folder("depth_colour");
  write_sound_capture(folder);
  std::filesystem::create_directories(folder.path() / "color");
  folder.image("color/000.png", cv::Mat(24, 32, CV_8UC3, cv::Scalar(9, 9, 9)));
  EXPECT_EQ(reason_of(folder), RefusalReason::capture_insufficient);
}

TEST(ReadDepthCapture, RefusesImagesThatAreNotDepth) {
  const DepthFolder folder("depth_not_depth");
  write_sound_capture(folder);
  folder.image("depth/001.png", cv::Mat(24, 32, CV_8UC1, cv::Scalar(30)));
  EXPECT_EQ(reason_of(folder), RefusalReason::file_not_supported);
  folder.image("depth/001.png", cv::Mat(24, 32, CV_16UC3, cv::Scalar(30, 30, 30)));
  EXPECT_EQ(reason_of(folder), RefusalReason::file_not_supported);
  folder.text("depth/001.png", "not a picture");
  EXPECT_EQ(reason_of(folder), RefusalReason::file_not_supported);
}

TEST(ReadDepthCapture, RefusesATruncatedImage) {
  const DepthFolder folder("depth_truncated");
  write_sound_capture(folder);
  std::filesystem::resize_file(folder.path() / "depth/001.png", 40);
  EXPECT_EQ(reason_of(folder), RefusalReason::file_truncated);
}

TEST(ReadDepthCapture, RefusesPosesThatAreNotRigid) {
  const DepthFolder folder("depth_not_rigid");
  write_sound_capture(folder);
  for (const char* rows : {"1.01 0 0 0\n0 1 0 0\n0 0 1 0\n0 0 0 1\n", "1 0 0 0\n0 1 0 0\n0 0 -1 0\n0 0 0 1\n",
                           "1 0 0 0\n0 1 0 0\n0 0 1 0\n0 0 0 2\n", "nan 0 0 0\n0 1 0 0\n0 0 1 0\n0 0 0 1\n"}) {
    SCOPED_TRACE(rows);
    folder.text("trajectory.log", identity_pose + "1 1 2\n" + rows);
    EXPECT_EQ(reason_of(folder), RefusalReason::file_malformed);
  }
}

TEST(ReadDepthCapture, RefusesTrajectoriesThatDoNotMatch) {
  const DepthFolder folder("depth_mismatch");
  write_sound_capture(folder);
  folder.text("trajectory.log", identity_pose);
  EXPECT_EQ(reason_of(folder), RefusalReason::capture_insufficient);
  folder.text("trajectory.log", identity_pose + "1 1 2\n1 0 0 0\n");
  EXPECT_EQ(reason_of(folder), RefusalReason::file_truncated);
}

TEST(ReadDepthCapture, RefusesMixedUnits) {
  const DepthFolder folder("depth_units");
  write_sound_capture(folder);
  folder.text("trajectory.log", identity_pose + "1 1 2\n1 0 0 0\n0 1 0 0\n0 0 1 300\n0 0 0 1\n");  // millimetres
  EXPECT_EQ(reason_of(folder), RefusalReason::units_doubtful);
  std::filesystem::remove(folder.path() / "trajectory.log");
  folder.flat_frame("depth/001.png", 32, 24, 6000);  // twenty times the other frame: another scale
  EXPECT_EQ(reason_of(folder), RefusalReason::units_doubtful);
}

TEST(ReadDepthCapture, RefusesNothingButZeros) {
  const DepthFolder folder("depth_zeros");
  write_sound_capture(folder);
  folder.flat_frame("depth/000.png", 32, 24, 0);
  folder.flat_frame("depth/001.png", 32, 24, 0);
  EXPECT_EQ(reason_of(folder), RefusalReason::capture_insufficient);
}

TEST(ReadDepthCapture, LeavesOutAnEmptyFrameAndSaysSo) {
  const DepthFolder folder("depth_one_empty");
  write_sound_capture(folder);
  folder.flat_frame("depth/002.png", 32, 24, 0);
  const auto capture = read_depth_capture(folder.path());
  ASSERT_TRUE(capture);
  EXPECT_EQ(capture->frames.size(), 2u);
  EXPECT_EQ(capture->notes.size(), 1u);
}

TEST(ReadDepthCapture, RefusesOneFrameAndNoFolder) {
  const DepthFolder folder("depth_one");
  write_sound_capture(folder);
  std::filesystem::remove(folder.path() / "depth/001.png");
  EXPECT_EQ(reason_of(folder), RefusalReason::capture_insufficient);
  std::filesystem::remove_all(folder.path() / "depth");
  EXPECT_EQ(reason_of(folder), RefusalReason::file_not_found);
  EXPECT_FALSE(is_depth_capture(folder.path()));
}

TEST(ReadDepthCapture, RefusesOverTheLimitsBeforeDecoding) {
  const DepthFolder folder("depth_limits");
  write_sound_capture(folder);
  folder.text("depth/001.png", "never looked at");
  ReadDepthSettings settings;
  settings.most_frames = 2;
  settings.most_pixels = 2 * 32 * 24;
  EXPECT_EQ(reason_of(folder, settings), RefusalReason::file_not_supported) << "within the limits it is looked at";
  --settings.most_pixels;
  EXPECT_EQ(reason_of(folder, settings), RefusalReason::file_over_limit);
  ++settings.most_pixels;
  settings.most_frames = 1;
  EXPECT_EQ(reason_of(folder, settings), RefusalReason::file_over_limit);
}

// Twice the bytes of its raw pixels and 1 MiB for what else a PNG may say; the bytes behind its end are a hole.
TEST(ReadDepthCapture, ADepthImageHoldsNoMoreThanItsPixelsNeed) {
  const DepthFolder folder("depth_large_image");
  write_sound_capture(folder);
  constexpr std::uintmax_t most = 2 * (2 * 32 * 24) + (1 << 20);
  std::filesystem::resize_file(folder.path() / "depth/001.png", most);
  const auto capture = read_depth_capture(folder.path());
  EXPECT_TRUE(capture) << capture.error().sentence();
  std::filesystem::resize_file(folder.path() / "depth/001.png", most + 1);
  EXPECT_EQ(reason_of(folder), RefusalReason::file_over_limit);
}

TEST(ReadDepthCapture, AnImageIsAtMost8192PixelsLong) {
  for (const bool wide : {true, false}) {
    const DepthFolder folder("depth_long_side");
    const auto write = [&](int side) {
      const int width = wide ? side : 16, height = wide ? 16 : side;
      folder.intrinsics(width, height, 4000.0);
      for (const char* name : {"depth/000.png", "depth/001.png"}) folder.flat_frame(name, width, height, 300);
    };
    write(8192);
    EXPECT_TRUE(read_depth_capture(folder.path()));
    write(8193);
    EXPECT_EQ(reason_of(folder), RefusalReason::file_malformed);
    write(15);
    EXPECT_EQ(reason_of(folder), RefusalReason::file_malformed);
  }
}

TEST(ReadDepthCapture, RefusesALargeTextFile) {
  const DepthFolder folder("depth_large_text");
  write_sound_capture(folder);
  ReadDepthSettings settings;
  settings.most_text_bytes = std::filesystem::file_size(folder.path() / "intrinsic.json");
  EXPECT_TRUE(read_depth_capture(folder.path(), settings));
  --settings.most_text_bytes;
  EXPECT_EQ(reason_of(folder, settings), RefusalReason::file_over_limit);
}

TEST(ReadDepthCapture, RefusesListsThatLeaveTheFolder) {
  const DepthFolder folder("depth_outside");
  write_sound_capture(folder);
  folder.text("depth.txt", "1.0 ../elsewhere/000.png\n1.1 depth/001.png\n");
  EXPECT_EQ(reason_of(folder), RefusalReason::file_malformed);
}

}  // namespace
}  // namespace rimwright
