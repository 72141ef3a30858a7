#include "simulate/photo_scene.h"

#include <embree3/rtcore.h>

#include <algorithm>
#include <cmath>
#include <opencv2/aruco/charuco.hpp>
#include <opencv2/core.hpp>

namespace rimwright {
namespace {

constexpr double board_square_mm = 17.0, board_marker_mm = 12.75;
constexpr int board_across = 11, board_down = 8, dots_per_square = 340;  // 0.05 mm a dot
constexpr double sheet_border_mm = 12.0;
constexpr double paper_white = 0.82, ink_black = 0.05, table_albedo = 0.25;
constexpr double ambient_share = 0.55;  // of the light, from all round

cv::Mat draw_board() {
  const auto dictionary = cv::aruco::getPredefinedDictionary(cv::aruco::DICT_5X5_100);
  const auto board = cv::aruco::CharucoBoard::create(board_across, board_down, static_cast<float>(board_square_mm),
                                                     static_cast<float>(board_marker_mm), dictionary);
  cv::Mat drawn;
  board->draw({board_across * dots_per_square, board_down * dots_per_square}, drawn);
  return drawn;
}

// Ink on the sheet at page coordinates (mm, origin at the board's corner): white outside the board.
double sheet_albedo(const cv::Mat& board, double x_mm, double y_mm) {
  const double dots_per_mm = dots_per_square / board_square_mm;
  const double x = x_mm * dots_per_mm, y = y_mm * dots_per_mm;
  if (x < 0 || y < 0 || x >= board.cols || y >= board.rows) return paper_white;
  return board.at<std::uint8_t>(static_cast<int>(y), static_cast<int>(x)) > 127 ? paper_white : ink_black;
}

// A plain table is nearly even. Bold figure, as of newspaper or a patterned cloth: dark and bright within millimetres.
double table_light(double figure, double x_mm, double y_mm) {
  const auto noise = [&](double wavelength_mm, std::uint32_t seed) {
    return gradient_noise(x_mm / wavelength_mm, y_mm / wavelength_mm, 0.0, seed);
  };
  const double bold = figure > 0.0 ? figure * (1.1 * noise(1.5, 78) + 0.9 * noise(5.0, 79)) : 0.0;
  return 0.8 * table_albedo * std::clamp(1.0 + 0.1 * noise(7.0, 77) + bold, 0.05, 3.0);
}

}  // namespace

struct RayScene::State {
  PhotoScene scene;
  cv::Mat board;
  RTCDevice device = nullptr;
  RTCScene rays = nullptr;
  unsigned int sheet_geometry = RTC_INVALID_GEOMETRY_ID;
  double table_z_mm = -100.0;

  unsigned int add(const std::vector<Eigen::Vector3f>& vertices,
                   const std::vector<std::array<std::uint32_t, 3>>& triangles) const {
    RTCGeometry geometry = rtcNewGeometry(device, RTC_GEOMETRY_TYPE_TRIANGLE);
    auto* vertex = static_cast<float*>(rtcSetNewGeometryBuffer(geometry, RTC_BUFFER_TYPE_VERTEX, 0, RTC_FORMAT_FLOAT3,
                                                               3 * sizeof(float), vertices.size()));
    for (const Eigen::Vector3f& v : vertices) {
      for (int i = 0; i < 3; ++i) *vertex++ = v[i];
    }
    auto* index = static_cast<std::uint32_t*>(rtcSetNewGeometryBuffer(
        geometry, RTC_BUFFER_TYPE_INDEX, 0, RTC_FORMAT_UINT3, 3 * sizeof(std::uint32_t), triangles.size()));
    for (const auto& t : triangles) index = std::copy(t.begin(), t.end(), index);
    rtcCommitGeometry(geometry);
    const unsigned int id = rtcAttachGeometry(rays, geometry);
    rtcReleaseGeometry(geometry);
    return id;
  }

  void add_sheet() {
    const SimulatedTarget& target = scene.target;
    constexpr int strips = 48;  // of a sheet bowed along its length
    const double left = -sheet_border_mm, right = board_across * board_square_mm + sheet_border_mm;
    const double top = -sheet_border_mm, bottom = board_down * board_square_mm + sheet_border_mm;
    std::vector<Eigen::Vector3f> vertices;
    std::vector<std::array<std::uint32_t, 3>> triangles;
    for (int i = 0; i <= strips; ++i) {
      const double x = left + (right - left) * i / strips, half = 2.0 * i / strips - 1.0;
      const double rise = target.bow_mm * (1.0 - half * half);
      for (double y : {top, bottom}) {
        const Vector3 p(x * target.print_scale, y * target.print_scale, -rise);
        vertices.emplace_back((target.T_body_target * p).cast<float>());
      }
      if (i == 0) continue;
      const auto n = static_cast<std::uint32_t>(2 * i);
      triangles.push_back({n - 2, n - 1, n});
      triangles.push_back({n - 1, n + 1, n});
    }
    sheet_geometry = add(vertices, triangles);
  }
};

double table_height_mm(const PhotoMesh& mesh, double blocks_mm) {
  float lowest = 0.0f;
  for (const Eigen::Vector3f& v : mesh.vertices_body_mm) lowest = std::min(lowest, v.z());
  return static_cast<double>(lowest) - blocks_mm;
}

RayScene::RayScene(const PhotoScene& scene) : state_(std::make_unique<State>()) {
  state_->scene = scene;
  state_->device = rtcNewDevice("threads=1,set_affinity=0");
  state_->rays = rtcNewScene(state_->device);
  rtcSetSceneFlags(state_->rays, RTC_SCENE_FLAG_ROBUST);
  state_->add(scene.mesh.vertices_body_mm, scene.mesh.triangles);
  state_->table_z_mm = table_height_mm(scene.mesh, scene.blocks_mm);
  if (scene.target.present) {
    state_->board = draw_board();
    state_->add_sheet();
  }
  rtcCommitScene(state_->rays);
}

RayScene::~RayScene() {
  rtcReleaseScene(state_->rays);
  rtcReleaseDevice(state_->device);
}

double RayScene::light_along(const Vector3& from, const Vector3& direction) const {
  const State& s = *state_;
  RTCIntersectContext context;
  rtcInitIntersectContext(&context);
  RTCRayHit hit{};
  hit.ray.org_x = static_cast<float>(from.x());
  hit.ray.org_y = static_cast<float>(from.y());
  hit.ray.org_z = static_cast<float>(from.z());
  hit.ray.dir_x = static_cast<float>(direction.x());
  hit.ray.dir_y = static_cast<float>(direction.y());
  hit.ray.dir_z = static_cast<float>(direction.z());
  hit.ray.tfar = 5000.0f;
  hit.ray.mask = 0xFFFFFFFFu;
  hit.hit.geomID = RTC_INVALID_GEOMETRY_ID;
  hit.hit.instID[0] = RTC_INVALID_GEOMETRY_ID;
  rtcIntersect1(s.rays, &context, &hit);
  if (hit.hit.geomID == RTC_INVALID_GEOMETRY_ID) {
    if (direction.z() > -1e-6) return 0.3;  // the wall of the room
    const Vector3 on_table = from + direction * ((s.table_z_mm - from.z()) / direction.z());
    if (on_table.head<2>().norm() > 3000.0) return 0.3;
    return table_light(s.scene.table_figure, on_table.x(), on_table.y());
  }
  const Vector3 at = from + direction * static_cast<double>(hit.ray.tfar);
  Vector3 normal = Vector3(hit.hit.Ng_x, hit.hit.Ng_y, hit.hit.Ng_z).normalized();
  if (normal.dot(direction) > 0) normal = -normal;
  const double facing = std::max(0.0, normal.dot(s.scene.light_body));
  const double light = ambient_share * (0.75 + 0.25 * normal.z()) + (1.0 - ambient_share) * facing;
  if (hit.hit.geomID == s.sheet_geometry) {
    const Vector3 page = s.scene.target.T_body_target.inverse() * at / s.scene.target.print_scale;
    return light * sheet_albedo(s.board, page.x(), page.y());
  }
  double seen = light * albedo_at(s.scene.wood, at);
  if (s.scene.mirror_share > 0.0) {
    const Vector3 mirrored = direction - 2.0 * normal.dot(direction) * normal;
    const double off_deg = degrees_from_radians(std::acos(std::clamp(mirrored.dot(s.scene.light_body), -1.0, 1.0)));
    // A window is much brighter than what it lights: its mirror image outshines matt wood even at a few percent.
    seen += s.scene.mirror_share * 8.0 * std::exp(-0.5 * std::pow(off_deg / s.scene.mirror_width_deg, 2));
  }
  return seen;
}

}  // namespace rimwright
