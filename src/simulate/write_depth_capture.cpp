#include "simulate/write_depth_capture.h"

#include <algorithm>
#include <cstdio>
#include <fstream>
#include <nlohmann/json.hpp>

#include "core/picture_files.h"
#include "simulate/mesh.h"
#include "simulate/write_scan.h"

namespace rimwright {

namespace {

tl::unexpected<Refusal> not_writable(const std::filesystem::path& file) {
  return refuse(RefusalReason::output_not_writable, file.string() + " cannot be written",
                "check the folder's permissions and the space left");
}

bool write_text(const std::filesystem::path& file, const std::string& text) {
  std::ofstream stream(file, std::ios::binary);
  stream << text;
  stream.close();
  return static_cast<bool>(stream);
}

std::string log_text(const std::vector<Transform>& poses) {
  std::string text;
  for (std::size_t i = 0; i < poses.size(); ++i) {
    text += std::to_string(i) + " " + std::to_string(i) + " " + std::to_string(i + 1) + "\n";
    Eigen::Matrix4d matrix = poses[i].matrix();
    matrix.topRightCorner<3, 1>() /= 1000.0;
    for (int row = 0; row < 4; ++row) {
      char line[160];
      std::snprintf(line, sizeof line, "%.12g %.12g %.12g %.12g\n", matrix(row, 0), matrix(row, 1), matrix(row, 2),
                    matrix(row, 3));
      text += line;
    }
  }
  return text;
}

}  // namespace

HandHeldPath path_along_bevel(const Body& body) {
  HandHeldPath path;
  path.to_mm = std::min(400.0, body.rim_length_mm());
  if (const auto& bevel = body.spec().bevel) {
    path.from_mm = bevel->from_mm - 40.0;
    path.to_mm = bevel->to_mm + 40.0;
    if (!body.closed()) {
      path.from_mm = std::max(0.0, path.from_mm);
      path.to_mm = std::min(body.rim_length_mm(), path.to_mm);
    }
  }
  return path;
}

RecordedCapture record_capture(const Body& body, const HandHeldPath& path, const DepthCamera& camera,
                               std::uint64_t seed, Workers& workers) {
  const BodyMesh mesh = mesh_body(body);
  const MeshRays scene(mesh.vertices, mesh.triangles);
  const CameraPath T_body_camera_at = hand_held_path(body, path, seed);
  RecordedCapture capture;
  capture.frames.resize(path.frames);
  capture.T_body_camera.resize(path.frames);
  workers.for_chunks(path.frames, 1, [&](std::size_t begin, std::size_t end, std::size_t) {
    for (std::size_t i = begin; i < end; ++i) {
      const double share = static_cast<double>(i) / static_cast<double>(path.frames);
      capture.frames[i] = record_depth(scene, camera, T_body_camera_at, i, share, seed);
      capture.T_body_camera[i] = T_body_camera_at(static_cast<double>(i));
    }
  });
  return capture;
}

Outcome<void> write_capture(const RecordedCapture& capture, const DepthCamera& camera, std::uint64_t seed,
                            const std::filesystem::path& folder) {
  std::error_code error;
  std::filesystem::create_directories(folder / "depth", error);
  std::filesystem::create_directories(folder / "truth", error);
  if (error) return not_writable(folder);
  const nlohmann::ordered_json intrinsic{
      {"width", camera.width_px},
      {"height", camera.height_px},
      {"intrinsic_matrix",
       {camera.focal_px, 0.0, 0.0, 0.0, camera.focal_px, 0.0, camera.column_centre_px(), camera.row_centre_px(), 1.0}}};
  const nlohmann::ordered_json settings{{"depth_scale", 1000.0 / camera.mm_per_count}};
  const nlohmann::ordered_json truth{{"invented", true},
                                     {"seed", seed},
                                     {"axial_share", camera.axial_share},
                                     {"lateral_share", camera.lateral_share},
                                     {"flying_share", camera.flying_share},
                                     {"flying_step_mm", camera.flying_step_mm},
                                     {"missing_from_deg", camera.missing_from_deg},
                                     {"missing_to_deg", camera.missing_to_deg},
                                     {"scale_error", camera.scale_error},
                                     {"scale_swing", camera.scale_swing},
                                     {"tilt_error_mm", camera.tilt_error_mm},
                                     {"rolling_share", camera.rolling_share}};
  for (const auto& [name, json] :
       {std::pair{"intrinsic.json", &intrinsic}, {"capture.json", &settings}, {"truth/camera.json", &truth}}) {
    if (!write_text(folder / name, json->dump(2) + "\n")) return not_writable(folder / name);
  }
  if (!write_text(folder / "truth/trajectory.log", log_text(capture.T_body_camera))) {
    return not_writable(folder / "truth/trajectory.log");
  }
  for (std::size_t i = 0; i < capture.frames.size(); ++i) {
    char name[32];
    std::snprintf(name, sizeof name, "depth/%06zu.png", i);
    const std::vector<unsigned char> png = png_of(capture.frames[i], camera.width_px, camera.height_px);
    if (png.empty() || !write_text(folder / name, std::string(png.begin(), png.end())))
      return not_writable(folder / name);
  }
  return {};
}

Outcome<void> write_capture_truth(const RecordedCapture& capture, const Body& body, const BodyFile& file,
                                  std::uint64_t seed, const std::filesystem::path& folder) {
  SimulatedScan scan;
  TruthSpec spec;
  spec.band_mm = file.plan.band_mm;
  scan.truth = truth_of(body, capture.T_body_camera.front().inverse(), spec);
  if (!write_text(folder / "truth.json", truth_json(body, file, scan, seed)))
    return not_writable(folder / "truth.json");
  if (!write_text(folder / "plan.yaml", plan_yaml(body.spec(), file.plan))) return not_writable(folder / "plan.yaml");
  return {};
}

}  // namespace rimwright
