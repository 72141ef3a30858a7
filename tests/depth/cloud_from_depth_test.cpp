#include "pipelines/cloud_from_depth.h"

#include <gtest/gtest.h>

#include "depth_folder.h"
#include "simulated_capture.h"
#include "surface_error.h"

namespace rimwright {
namespace {

using namespace rimwright_test;

constexpr std::uint64_t seed = 5;

class CloudFromDepth : public testing::Test {
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

bool any_note_says(const std::vector<std::string>& notes, const std::string& words) {
  return std::any_of(notes.begin(), notes.end(),
                     [&](const std::string& note) { return note.find(words) != std::string::npos; });
}

TEST_F(CloudFromDepth, FacesLieWhereTheBodyIsAndSigmaIsHonest) {
  Workers workers;
  const DepthFolder folder("depth_chain");
  ASSERT_TRUE(write_capture(recorded_, camera_, seed, folder.path()));
  const auto cloud = cloud_from_depth(folder.path(), {}, workers);
  ASSERT_TRUE(cloud) << cloud.error().sentence();
  ASSERT_EQ(cloud->sigma_mm.size(), cloud->size());

  // Into the body frame by the first image's true pose: what is left is the alignment's error and the noise.
  std::vector<Vector3> points;
  double sigma_square = 0.0;
  constexpr std::size_t every = 7;
  for (std::size_t i = 0; i < cloud->size(); i += every) {
    points.push_back(recorded_.T_body_camera.front() * cloud->point_mm(i));
    sigma_square += static_cast<double>(cloud->sigma_mm[i]) * static_cast<double>(cloud->sigma_mm[i]);
  }
  const double sigma = std::sqrt(sigma_square / static_cast<double>(points.size()));
  const Body body = sound_body();
  const auto error = SurfaceError(body).measure(points, 100.0, 430.0, 5.0, 1.0, 0.4);
  for (const BodyFace face : {BodyFace::side, BodyFace::top, BodyFace::bevel, BodyFace::floor}) {
    SCOPED_TRACE(static_cast<int>(face));
    ASSERT_TRUE(error.count(face));
    // The means of 5 mm stretches stay within half of the depth that is to be told apart, 0.04 mm, and a part of the
    // alignment's drift (at most 0.3 mm along the rim) that a lean of 10 degrees of the face's plan would show.
    EXPECT_LT(error.at(face).rms_mm, 0.05) << "seed " << seed;
    // Scatter agrees with the sigma that each point claims, within the form of the surface and the drift.
    EXPECT_NEAR(error.at(face).scatter_mm, sigma, 0.3 * sigma);
  }
  EXPECT_GE(cloud->scale.relative_standard_u, 0.001);
  EXPECT_LT(cloud->scale.relative_standard_u, 0.003);
  EXPECT_GT(cloud->capture_error.correlation_length_mm, 0.0);
  EXPECT_TRUE(any_note_says(cloud->notes, "aligned"));
  EXPECT_FALSE(any_note_says(cloud->notes, "hold the camera"));
}

TEST_F(CloudFromDepth, FlyingPixelsAreDropped) {
  Workers workers;
  const Body body = sound_body();
  // A bench 120 mm below the rim, and every pixel between the body and the bench flies.
  BodyMesh mesh = mesh_body(body);
  const auto corner = static_cast<std::uint32_t>(mesh.vertices.size());
  for (const auto& [x, y] :
       {std::pair{-2000.0F, -2000.0F}, {2000.0F, -2000.0F}, {2000.0F, 2000.0F}, {-2000.0F, 2000.0F}}) {
    mesh.vertices.emplace_back(x, y, -120.0F);
  }
  mesh.triangles.push_back({corner, corner + 1, corner + 2});
  mesh.triangles.push_back({corner, corner + 2, corner + 3});
  const MeshRays scene(mesh.vertices, mesh.triangles);
  DepthCamera flying = camera_;
  flying.flying_share = 1.0;
  HandHeldPath path = short_path();
  path.frames = 12;
  path.to_mm = 180.0;
  path.swings = 0.3;
  const CameraPath T_body_camera_at = hand_held_path(body, path, seed);
  RecordedCapture recorded;
  for (std::size_t i = 0; i < path.frames; ++i) {
    recorded.frames.push_back(record_depth(scene, flying, T_body_camera_at, i, 0.0, seed));
    recorded.T_body_camera.push_back(T_body_camera_at(static_cast<double>(i)));
  }
  const auto capture = in_memory(recorded, flying);
  auto patches = patches_of_all(capture, settings_for(capture, {}), workers);
  const auto noise = estimate_noise(patches);
  ASSERT_TRUE(noise);
  drop_edge_patches(patches, *noise);
  const auto alignment = align_frames(capture, patches, *noise, {}, workers);
  ASSERT_TRUE(alignment) << alignment.error().sentence();
  const auto zone = DepthRimZone::from(patches, *alignment, {});
  ASSERT_TRUE(zone) << zone.error().sentence();

  // Between the lower end of the side (65 mm below a rim that the dome lets down by 10 mm at most) and the bench there
  // is only air: what lies there flew.
  const auto stray_share = [&](const Cloud& cloud) {
    std::size_t strays = 0;
    for (std::size_t i = 0; i < cloud.size(); ++i) {
      const double height_mm = (recorded.T_body_camera.front() * cloud.point_mm(i)).z();
      if (height_mm < -85.0 && height_mm > -115.0) ++strays;
    }
    return static_cast<double>(strays) / static_cast<double>(cloud.size());
  };
  FuseSettings everything;
  everything.neighbours_needed = 0;
  everything.least_density_share = 0.0;
  const auto raw = fuse_frames(capture, *alignment, *noise, *zone, everything, workers);
  const auto clean = fuse_frames(capture, *alignment, *noise, *zone, {}, workers);
  ASSERT_TRUE(raw && clean);
  const double before = stray_share(*raw), after = stray_share(*clean);
  EXPECT_GT(before, 1e-4);  // there is something to drop
  EXPECT_LT(after, 0.1 * before);
  EXPECT_GT(clean->size(), raw->size() * 9 / 10);  // and not much else goes
}

TEST_F(CloudFromDepth, SaysToHoldTheCameraLower) {
  Workers workers;
  const Body body = sound_body();
  HandHeldPath high = short_path();
  high.frames = 16;
  high.to_mm = 220.0;
  high.lowest_deg = 66.0;
  high.highest_deg = 74.0;
  DepthCamera camera = camera_;
  camera.missing_from_deg = 85.0;
  camera.missing_to_deg = 89.0;
  const auto recorded = record_capture(body, high, camera, seed, workers);
  const DepthFolder folder("depth_high");
  ASSERT_TRUE(write_capture(recorded, camera, seed, folder.path()));
  const auto cloud = cloud_from_depth(folder.path(), {}, workers);
  ASSERT_TRUE(cloud) << cloud.error().sentence();
  EXPECT_TRUE(any_note_says(cloud->notes, "hold the camera lower"));
}

TEST_F(CloudFromDepth, ThreadsDoNotChangeTheCloud) {
  Workers one(1), two(2);
  RecordedCapture few = recorded_;
  few.frames.resize(10);
  few.T_body_camera.resize(10);
  const DepthFolder folder("depth_threads");
  ASSERT_TRUE(write_capture(few, camera_, seed, folder.path()));
  const auto a = cloud_from_depth(folder.path(), {}, one), b = cloud_from_depth(folder.path(), {}, two);
  ASSERT_TRUE(a && b);
  EXPECT_EQ(a->x, b->x);
  EXPECT_EQ(a->y, b->y);
  EXPECT_EQ(a->z, b->z);
  EXPECT_EQ(a->sigma_mm, b->sigma_mm);
}

TEST_F(CloudFromDepth, RefusalsOfTheStagesComeThrough) {
  Workers workers;
  const DepthFolder folder("depth_refused");
  const auto nothing = cloud_from_depth(folder.path() / "absent", {}, workers);
  ASSERT_FALSE(nothing);
  EXPECT_EQ(nothing.error().reason, RefusalReason::file_not_found);
  // Two images of a bare wall: aligned, but no side anywhere.
  folder.intrinsics(320, 240, 300.0);
  folder.flat_frame("depth/000.png", 320, 240, 300);
  folder.flat_frame("depth/001.png", 320, 240, 300);
  const auto wall = cloud_from_depth(folder.path(), {}, workers);
  ASSERT_FALSE(wall);
  EXPECT_EQ(wall.error().reason, RefusalReason::no_side_found);
}

}  // namespace
}  // namespace rimwright
