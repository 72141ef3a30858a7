#include "capture/depth/align_frames.h"

#include <gtest/gtest.h>

#include "simulate/random.h"
#include "simulated_capture.h"
#include "visp_frames.h"

namespace rimwright {
namespace {

using namespace rimwright_test;

constexpr std::uint64_t seed = 3;
constexpr double ahead_mm = 300.0;

struct Prepared {
  std::vector<std::vector<DepthPatch>> patches;
  DepthNoise noise;
};

Prepared prepare(const DepthCapture& capture, Workers& workers) {
  Prepared prepared;
  prepared.patches = patches_of_all(capture, settings_for(capture, {}), workers);
  prepared.noise = *estimate_noise(prepared.patches);
  drop_edge_patches(prepared.patches, prepared.noise);
  return prepared;
}

std::vector<Transform> poses_of(const Alignment& alignment) {
  std::vector<Transform> poses;
  for (const FramePose& frame : alignment.frames) poses.push_back(frame.T_scan_camera);
  return poses;
}

class AlignFrames : public testing::Test {
 protected:
  static void SetUpTestSuite() {
    Workers workers;
    const Body body = sound_body();
    camera_ = small_camera(structured_light_class());
    recorded_ = record_capture(body, short_path(), camera_, seed, workers);
  }
  static inline DepthCamera camera_;
  static inline RecordedCapture recorded_;
};

TEST_F(AlignFrames, WithoutPosesAnArcOf400MillimetresHoldsItsShape) {
  Workers workers;
  const DepthCapture capture = in_memory(recorded_, camera_);
  const Prepared prepared = prepare(capture, workers);
  const auto alignment = align_frames(capture, prepared.patches, prepared.noise, {}, workers);
  ASSERT_TRUE(alignment) << alignment.error().sentence();
  EXPECT_EQ(alignment->frames_left_out, 0u);
  EXPECT_TRUE(alignment->settled);
  const auto poses = poses_of(*alignment);
  EXPECT_LT(absolute_trajectory_error_mm(poses, recorded_.T_body_camera, ahead_mm), 0.15) << "seed " << seed;
  // Drift from the first image to the last, at the rim: at most 0.3 mm is asked.
  const Vector3 looked_at(0.0, 0.0, ahead_mm);
  const Vector3 drift = recorded_.T_body_camera.front() * poses.front().inverse() * poses.back() * looked_at -
                        recorded_.T_body_camera.back() * looked_at;
  EXPECT_LT(drift.norm(), 0.3);
}

TEST_F(AlignFrames, ThreadsDoNotChangeTheAnswer) {
  Workers one(1), two(2);
  const DepthCapture capture = in_memory(recorded_, camera_);
  const Prepared prepared = prepare(capture, one);
  const auto a = align_frames(capture, prepared.patches, prepared.noise, {}, one);
  const auto b = align_frames(capture, prepared.patches, prepared.noise, {}, two);
  ASSERT_TRUE(a && b);
  for (std::size_t i = 0; i < a->frames.size(); ++i) {
    EXPECT_EQ(a->frames[i].T_scan_camera.matrix(), b->frames[i].T_scan_camera.matrix()) << "image " << i;
  }
}

TEST_F(AlignFrames, PosesThatDriftAreRefined) {
  Workers workers;
  DepthCapture capture = in_memory(recorded_, camera_);
  // A random walk of 0.5 mm and 0.1 degree an image, as an inertial tracker leaves.
  Random random(seed);
  Transform walk = Transform::Identity();
  std::vector<Transform> given;
  for (std::size_t i = 0; i < capture.frames.size(); ++i) {
    const Vector3 turn = 0.0017 * Vector3(random.normal(), random.normal(), random.normal());
    walk.linear() = (walk.linear() * Eigen::AngleAxisd(turn.norm(), turn.normalized())).eval();
    walk.translation() += 0.5 * Vector3(random.normal(), random.normal(), random.normal());
    given.push_back(recorded_.T_body_camera[i] * walk);
    capture.frames[i].T_scan_camera = given.back();
  }
  const double before_mm = absolute_trajectory_error_mm(given, recorded_.T_body_camera, ahead_mm);
  EXPECT_GT(before_mm, 1.0);  // there is something to mend
  const Prepared prepared = prepare(capture, workers);
  const auto alignment = align_frames(capture, prepared.patches, prepared.noise, {}, workers);
  ASSERT_TRUE(alignment) << alignment.error().sentence();
  EXPECT_LT(absolute_trajectory_error_mm(poses_of(*alignment), recorded_.T_body_camera, ahead_mm), 0.15);
  // The scan frame is that of the poses given.
  EXPECT_LT((alignment->frames[0].T_scan_camera.matrix() - given[0].matrix()).cwiseAbs().maxCoeff(), 1e-6);
}

TEST_F(AlignFrames, PosesThatContradictTheImagesAreNotUsed) {
  Workers workers;
  DepthCapture capture = in_memory(recorded_, camera_);
  // Another pass's poses: 80 mm an image along the optical axis.
  for (std::size_t i = 0; i < capture.frames.size(); ++i) {
    capture.frames[i].T_scan_camera = Transform::Identity();
    capture.frames[i].T_scan_camera->translation().z() = 80.0 * static_cast<double>(i);
  }
  const Prepared prepared = prepare(capture, workers);
  const auto alignment = align_frames(capture, prepared.patches, prepared.noise, {}, workers);
  ASSERT_TRUE(alignment) << alignment.error().sentence();
  EXPECT_EQ(alignment->frames_left_out, 0u);
  ASSERT_FALSE(alignment->notes.empty());
  EXPECT_NE(alignment->notes[0].find("were not used"), std::string::npos);
  EXPECT_LT(absolute_trajectory_error_mm(poses_of(*alignment), recorded_.T_body_camera, ahead_mm), 0.15);
}

TEST_F(AlignFrames, MoreFramesThanAreAdjustedTogetherFollowTheModel) {
  Workers workers;
  const DepthCapture capture = in_memory(recorded_, camera_);
  const Prepared prepared = prepare(capture, workers);
  AlignSettings settings;
  settings.most_joint_frames = 15;
  const auto alignment = align_frames(capture, prepared.patches, prepared.noise, settings, workers);
  ASSERT_TRUE(alignment) << alignment.error().sentence();
  EXPECT_LT(absolute_trajectory_error_mm(poses_of(*alignment), recorded_.T_body_camera, ahead_mm), 0.25);
}

TEST_F(AlignFrames, AForeignImageIsLeftOut) {
  Workers workers;
  DepthCapture capture = in_memory(recorded_, camera_);
  // Waves of 20 mm on a wall at 600 mm: smooth enough for patches, unlike anything else in the pass.
  for (std::size_t i = 0; i < capture.frames[20].counts.size(); ++i) {
    const double z_mm =
        600.0 + 20.0 * std::sin(0.05 * static_cast<double>(i % 320)) * std::cos(0.07 * static_cast<double>(i / 320));
    capture.frames[20].counts[i] = static_cast<std::uint16_t>(z_mm / capture.mm_per_count);
  }
  const Prepared prepared = prepare(capture, workers);
  const auto alignment = align_frames(capture, prepared.patches, prepared.noise, {}, workers);
  ASSERT_TRUE(alignment) << alignment.error().sentence();
  EXPECT_FALSE(alignment->frames[20].aligned);
  EXPECT_EQ(alignment->frames_left_out, 1u);
}

TEST_F(AlignFrames, RefusesImagesThatDoNotBelongTogether) {
  Workers workers;
  DepthCapture capture = in_memory(recorded_, camera_);
  const Prepared prepared = prepare(capture, workers);
  // The first image and copies of it shifted a metre apart: every second place is empty.
  auto patches = prepared.patches;
  for (std::size_t i = 0; i < patches.size(); ++i) {
    for (DepthPatch& patch : patches[i]) patch.point_mm.x() += 1000.0 * static_cast<double>(i);
  }
  const auto alignment = align_frames(capture, patches, prepared.noise, {}, workers);
  ASSERT_FALSE(alignment);
  EXPECT_EQ(alignment.error().reason, RefusalReason::capture_insufficient);
}

// Outside: the simulated castle of visp-images-data with its published trajectory, 40 images over 470 mm, no noise but
// the rounding of 0.03 mm. Between images the camera moves up to 55 mm. No poses are given to the alignment.
TEST(AlignFramesOutside, PublishedTrajectoryOfTheSimulatedCastle) {
  constexpr int frames = 40;
  const DepthCapture capture = simulated_castle(frames);
  const auto truth = simulated_castle_truth(frames);
  ASSERT_EQ(capture.frames.size(), 40u) << "install visp-images-data";
  ASSERT_EQ(truth.size(), 40u);
  Workers workers;
  const Prepared prepared = prepare(capture, workers);
  const auto alignment = align_frames(capture, prepared.patches, prepared.noise, {}, workers);
  ASSERT_TRUE(alignment) << alignment.error().sentence();
  EXPECT_EQ(alignment->frames_left_out, 0u);
  // A pixel is 0.52 mm wide there; a fifth of it.
  EXPECT_LT(absolute_trajectory_error_mm(poses_of(*alignment), truth, 0.0), 0.15);
  EXPECT_LT(absolute_trajectory_error_mm(poses_of(*alignment), truth, 365.0), 0.1);
}

}  // namespace
}  // namespace rimwright
