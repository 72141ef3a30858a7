// Depth frames into points: noise-weighted pixels against Open3D's own volume integration and mesh extraction, on the
// same simulated frames, the same poses (our alignment) and, for the volume, voxels of the size given. usage:
// fuse_depth_bench [frames] [voxel in mm] [repeats]; defaults 60, 1.0, 3. Printed: seconds (median of the repeats, with
// what both need before: nothing), and for each face the error of its place in stretches of 5 mm against the exact
// body: rms and 95 % of sizes.
#include <open3d/Open3D.h>

#include <chrono>
#include <cstdio>
#include <cstdlib>

#include "../depth/simulated_capture.h"
#include "../depth/surface_error.h"
#include "capture/depth/fuse_frames.h"

namespace {

using namespace rimwright;
using namespace rimwright_test;

double seconds_now() {
  return std::chrono::duration<double>(std::chrono::steady_clock::now().time_since_epoch()).count();
}

// Metres, as the volume's defaults expect; back to millimetres on the way out.
std::vector<Vector3> points_of_volume(const DepthCapture& capture, const Alignment& alignment, double voxel_mm) {
  namespace o3d = open3d;
  const auto& camera = capture.intrinsics;
  const o3d::camera::PinholeCameraIntrinsic intrinsic(camera.width_px, camera.height_px, camera.fx_px, camera.fy_px,
                                                      camera.cx_px, camera.cy_px);
  o3d::pipelines::integration::ScalableTSDFVolume volume(voxel_mm / 1000.0, 4.0 * voxel_mm / 1000.0,
                                                         o3d::pipelines::integration::TSDFVolumeColorType::NoColor);
  for (std::size_t f = 0; f < capture.frames.size(); ++f) {
    if (!alignment.frames[f].aligned) continue;
    o3d::geometry::RGBDImage image;
    image.depth_.Prepare(camera.width_px, camera.height_px, 1, 4);
    auto* metres = reinterpret_cast<float*>(image.depth_.data_.data());
    for (std::size_t p = 0; p < capture.frames[f].counts.size(); ++p) {
      metres[p] = static_cast<float>(capture.frames[f].counts[p] * capture.mm_per_count / 1000.0);
    }
    Eigen::Matrix4d pose = alignment.frames[f].T_scan_camera.matrix();
    pose.topRightCorner<3, 1>() /= 1000.0;
    volume.Integrate(image, intrinsic, pose.inverse());
  }
  const auto mesh = volume.ExtractTriangleMesh();
  std::vector<Vector3> points;
  points.reserve(mesh->vertices_.size());
  for (const auto& vertex : mesh->vertices_) points.push_back(1000.0 * vertex);
  return points;
}

std::vector<Vector3> points_of_cloud(const Cloud& cloud) {
  std::vector<Vector3> points;
  points.reserve(cloud.size());
  for (std::size_t i = 0; i < cloud.size(); ++i) points.push_back(cloud.point_mm(i));
  return points;
}

void report(const char* name, double seconds, std::vector<Vector3> points, const Transform& T_body_scan,
            const SurfaceError& surface) {
  const std::size_t every = 1 + points.size() / 1'000'000;
  std::vector<Vector3> some;
  for (std::size_t i = 0; i < points.size(); i += every) some.push_back(T_body_scan * points[i]);
  std::printf("%-12s %6.2f s, %zu points\n", name, seconds, points.size());
  constexpr const char* names[] = {"side", "top", "bevel", "floor", "wall", "fillet"};
  for (const auto& [face, error] : surface.measure(some, 100.0, 440.0, 5.0, 1.0, 0.2)) {
    std::printf("  %-6s rms %.4f mm, 95 %% within %.4f mm, mean %+.4f mm, %zu points\n", names[static_cast<int>(face)],
                error.rms_mm, error.p95_mm, error.mean_mm, error.points);
  }
}

}  // namespace

int main(int argc, char** argv) {
  const std::size_t frames = argc > 1 ? static_cast<std::size_t>(std::atoi(argv[1])) : 60;
  const double voxel_mm = argc > 2 ? std::atof(argv[2]) : 1.0;
  const int repeats = argc > 3 ? std::atoi(argv[3]) : 3;
  if (frames < 2 || !(voxel_mm > 0.05) || repeats < 1) {
    std::fprintf(stderr, "usage: fuse_depth_bench [frames] [voxel in mm] [repeats]\n");
    return 2;
  }
  Workers workers;
  const Body body = sound_body();
  const DepthCamera camera = structured_light_class();
  HandHeldPath path = path_along_bevel(body);
  path.frames = frames;
  const auto recorded = record_capture(body, path, camera, 1, workers);
  const auto capture = in_memory(recorded, camera);
  auto patches = patches_of_all(capture, settings_for(capture, {}), workers);
  const auto noise = estimate_noise(patches);
  if (!noise) return 1;
  drop_edge_patches(patches, *noise);
  const double align_from = seconds_now();
  const auto alignment = align_frames(capture, patches, *noise, {}, workers);
  if (!alignment) return 1;
  std::printf("%zu frames aligned in %.2f s, voxel %.2f mm, %d repeats, %zu threads\n", frames,
              seconds_now() - align_from, voxel_mm, repeats, workers.thread_count());
  const auto zone = DepthRimZone::from(patches, *alignment, {});
  if (!zone) return 1;

  std::vector<double> ours, theirs;
  std::vector<Vector3> our_points, their_points;
  for (int i = 0; i < repeats; ++i) {
    double from = seconds_now();
    const auto cloud = fuse_frames(capture, *alignment, *noise, *zone, {}, workers);
    if (!cloud) return 1;
    ours.push_back(seconds_now() - from);
    our_points = points_of_cloud(*cloud);
    from = seconds_now();
    their_points = points_of_volume(capture, *alignment, voxel_mm);
    theirs.push_back(seconds_now() - from);
  }
  std::sort(ours.begin(), ours.end());
  std::sort(theirs.begin(), theirs.end());
  const SurfaceError surface(body);
  const Transform T_body_scan = recorded.T_body_camera.front() * alignment->frames.front().T_scan_camera.inverse();
  const double our_median = ours[ours.size() / 2], their_median = theirs[theirs.size() / 2];
  report("pixels", our_median, our_points, T_body_scan, surface);
  report("volume", their_median, their_points, T_body_scan, surface);
  std::printf("time, volume over pixels: %.2f\n", their_median / our_median);
  return 0;
}
