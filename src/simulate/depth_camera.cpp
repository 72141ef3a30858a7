#include "simulate/depth_camera.h"

#include <embree3/rtcore.h>

#include <algorithm>
#include <cmath>
#include <limits>
#include <numbers>

#include "simulate/random.h"

namespace rimwright {

namespace {

struct Sample {
  double z_mm = 0.0;  // 0 = nothing there
  double incidence_rad = 0.0;
};

// One ray a pixel through a point that wanders by the lateral noise; the depth is then carried along the face that was
// hit to the pixel's own centre, so that on a plane the wander adds nothing to the axial noise.
Sample look(const MeshRays& scene, const DepthCamera& camera, const Transform& T_body_camera, double column, double row,
            double wander_column, double wander_row) {
  const auto ray_of = [&](double at_column, double at_row) {
    return Vector3((at_column - camera.column_centre_px()) / camera.focal_px,
                   (at_row - camera.row_centre_px()) / camera.focal_px, 1.0);
  };
  const Vector3 wandering = ray_of(column + wander_column, row + wander_row);
  const MeshRays::Hit hit = scene.cast(T_body_camera.translation(), T_body_camera.linear() * wandering);
  if (!hit.seen) return {};
  const Vector3 normal = T_body_camera.linear().transpose() * hit.normal;
  const Vector3 centre = ray_of(column, row);
  Sample sample;
  sample.incidence_rad = std::acos(std::min(1.0, std::abs(normal.dot(wandering)) / wandering.norm()));
  sample.z_mm = hit.distance;
  constexpr double farthest_carry_mm = 2.0;  // beyond, the face is seen so steeply that it would be thrown about
  const double carried = hit.distance * normal.dot(wandering) / normal.dot(centre);
  if (std::abs(carried - hit.distance) < farthest_carry_mm) sample.z_mm = carried;
  return sample;
}

}  // namespace

DepthCamera structured_light_class() {
  DepthCamera camera;
  camera.mm_per_count = 0.02;
  camera.axial_share = 0.08 / axial_sigma_mm(300.0, 0.0);
  camera.lateral_share = 0.125;  // a tenth of a pixel
  camera.flying_share = 0.3;
  camera.missing_from_deg = 70.0;
  return camera;
}

DepthCamera phone_class() {
  DepthCamera camera;
  camera.mm_per_count = 0.25;
  camera.scale_error = 0.005;
  camera.scale_swing = 0.001;
  camera.tilt_error_mm = 0.3;
  camera.rolling_share = 0.1;
  return camera;
}

double axial_sigma_mm(double z_mm, double incidence_rad) {
  const double z = z_mm / 1000.0;
  const double steep = std::min(incidence_rad, 1.5);  // the form runs away at a right angle
  double sigma = 0.0012 + 0.0019 * (z - 0.4) * (z - 0.4);
  constexpr double steep_from_rad = std::numbers::pi / 3.0;
  if (steep > steep_from_rad) {
    const double ratio = steep / (std::numbers::pi / 2.0 - steep);
    sigma += 0.0001 / std::sqrt(z) * ratio * ratio;
  }
  return 1000.0 * sigma;
}

double lateral_sigma_px(double incidence_rad) {
  const double steep = std::min(incidence_rad, 1.5);
  return 0.8 + 0.035 * steep / (std::numbers::pi / 2.0 - steep);
}

struct MeshRays::State {
  RTCDevice device = nullptr;
  RTCScene scene = nullptr;
  Vector3 origin_mm = Vector3::Zero();  // keeps floats small
};

MeshRays::MeshRays(const std::vector<Eigen::Vector3f>& vertices_mm,
                   const std::vector<std::array<std::uint32_t, 3>>& triangles)
    : state_(std::make_unique<State>()) {
  if (!vertices_mm.empty()) state_->origin_mm = vertices_mm.front().cast<double>();
  state_->device = rtcNewDevice("threads=1");
  state_->scene = rtcNewScene(state_->device);
  rtcSetSceneFlags(state_->scene, RTC_SCENE_FLAG_ROBUST);  // no ray slips between two triangles
  RTCGeometry geometry = rtcNewGeometry(state_->device, RTC_GEOMETRY_TYPE_TRIANGLE);
  auto* vertices = static_cast<float*>(rtcSetNewGeometryBuffer(geometry, RTC_BUFFER_TYPE_VERTEX, 0, RTC_FORMAT_FLOAT3,
                                                               3 * sizeof(float), vertices_mm.size()));
  for (std::size_t i = 0; i < vertices_mm.size(); ++i) {
    const Eigen::Vector3f offset = (vertices_mm[i].cast<double>() - state_->origin_mm).cast<float>();
    std::copy(offset.data(), offset.data() + 3, vertices + 3 * i);
  }
  auto* indices = static_cast<std::uint32_t*>(rtcSetNewGeometryBuffer(
      geometry, RTC_BUFFER_TYPE_INDEX, 0, RTC_FORMAT_UINT3, 3 * sizeof(std::uint32_t), triangles.size()));
  for (std::size_t i = 0; i < triangles.size(); ++i)
    std::copy(triangles[i].begin(), triangles[i].end(), indices + 3 * i);
  rtcCommitGeometry(geometry);
  rtcAttachGeometry(state_->scene, geometry);
  rtcReleaseGeometry(geometry);
  rtcCommitScene(state_->scene);
}

MeshRays::~MeshRays() {
  rtcReleaseScene(state_->scene);
  rtcReleaseDevice(state_->device);
}

MeshRays::Hit MeshRays::cast(const Vector3& from_mm, const Vector3& direction) const {
  const Eigen::Vector3f from = (from_mm - state_->origin_mm).cast<float>();
  const Eigen::Vector3f along = direction.cast<float>();
  RTCRayHit ray{};
  ray.ray.org_x = from.x();
  ray.ray.org_y = from.y();
  ray.ray.org_z = from.z();
  ray.ray.dir_x = along.x();
  ray.ray.dir_y = along.y();
  ray.ray.dir_z = along.z();
  ray.ray.tfar = std::numeric_limits<float>::infinity();
  ray.ray.mask = ~0U;
  ray.hit.geomID = RTC_INVALID_GEOMETRY_ID;
  RTCIntersectContext context;
  rtcInitIntersectContext(&context);
  rtcIntersect1(state_->scene, &context, &ray);
  Hit hit;
  if (ray.hit.geomID == RTC_INVALID_GEOMETRY_ID) return hit;
  hit.seen = true;
  hit.triangle = ray.hit.primID;
  hit.distance = static_cast<double>(ray.ray.tfar);
  hit.normal = Eigen::Vector3f(ray.hit.Ng_x, ray.hit.Ng_y, ray.hit.Ng_z).cast<double>().normalized();
  return hit;
}

std::vector<std::uint16_t> record_depth(const MeshRays& scene, const DepthCamera& camera,
                                        const CameraPath& T_body_camera_at, std::size_t frame, double share_of_capture,
                                        std::uint64_t seed) {
  Random random(seed, 1000 + frame);
  const auto width = static_cast<std::size_t>(camera.width_px), height = static_cast<std::size_t>(camera.height_px);

  std::vector<Sample> seen(width * height);
  for (std::size_t row = 0; row < height; ++row) {
    const double row_time = (static_cast<double>(row) / static_cast<double>(height) - 0.5) * camera.rolling_share;
    const Transform T_body_camera = T_body_camera_at(static_cast<double>(frame) + row_time);
    for (std::size_t column = 0; column < width; ++column) {
      const double wander = camera.lateral_share * lateral_sigma_px(0.0);
      const double wander_column = wander * random.normal(), wander_row = wander * random.normal();
      seen[row * width + column] = look(scene, camera, T_body_camera, static_cast<double>(column),
                                        static_cast<double>(row), wander_column, wander_row);
    }
  }

  const double swing = std::sin(2.0 * std::numbers::pi * share_of_capture);
  std::vector<std::uint16_t> counts(width * height, 0);
  for (std::size_t row = 0; row < height; ++row) {
    for (std::size_t column = 0; column < width; ++column) {
      const Sample& sample = seen[row * width + column];
      // Drawn for every pixel, so that one pixel's fate does not shift the random numbers of the next.
      const double axial = random.normal(), flies = random.uniform(), mixing = random.uniform(),
                   fails = random.uniform();
      if (sample.z_mm < camera.nearest_mm || sample.z_mm > camera.farthest_mm) continue;
      const double incidence_deg = degrees_from_radians(sample.incidence_rad);
      const double failing =
          (incidence_deg - camera.missing_from_deg) / (camera.missing_to_deg - camera.missing_from_deg);
      if (fails < failing) continue;
      double z_mm = sample.z_mm;
      // The neighbour that differs most.
      double step_mm = 0.0;
      for (const auto& [beside_row, beside_column] :
           {std::pair{row, column + 1}, {row + 1, column}, {row, column - 1}, {row - 1, column}}) {
        if (beside_row >= height || beside_column >= width) continue;
        const double beside_mm = seen[beside_row * width + beside_column].z_mm;
        if (beside_mm > 0.0 && std::abs(beside_mm - z_mm) > std::abs(step_mm)) step_mm = beside_mm - z_mm;
      }
      if (std::abs(step_mm) > camera.flying_step_mm && flies < camera.flying_share) z_mm += mixing * step_mm;
      const double across = (static_cast<double>(column) - camera.column_centre_px()) / camera.column_centre_px();
      const double read_mm = z_mm * (1.0 + camera.scale_error + camera.scale_swing * swing) +
                             camera.tilt_error_mm * across * swing +
                             camera.axial_share * axial_sigma_mm(z_mm, sample.incidence_rad) * axial;
      const double count = std::round(read_mm / camera.mm_per_count);
      if (count >= 1.0 && count <= 65535.0) counts[row * width + column] = static_cast<std::uint16_t>(count);
    }
  }
  return counts;
}

}  // namespace rimwright
