#include "simulate/photo_session.h"

#include <algorithm>
#include <cmath>
#include <fstream>
#include <limits>

#include "simulate/mesh.h"
#include "simulate/photo_scene.h"
#include "simulate/truth.h"
#include "simulate/write_photo.h"
#include "simulate/write_scan.h"

namespace rimwright {
namespace {

constexpr double sheet_border_mm = 12.0, board_width_mm = 187.0, board_height_mm = 136.0;
constexpr double sheet_thickness_mm = 0.4;  // paper and glue on thin card

struct Stretch {
  double from_mm, to_mm;
};

Stretch stretch_of(const Body& body, const PhotoSessionSpec& spec) {
  if (spec.to_mm > spec.from_mm) return {spec.from_mm, spec.to_mm};
  if (body.spec().bevel) return {body.spec().bevel->from_mm, body.spec().bevel->to_mm};
  return {0.0, body.rim_length_mm()};
}

// The swept surface, and a lid that closes the top inward of it, so that no photo looks into the body.
PhotoMesh mesh_with_lid(const Body& body) {
  const BodyMesh swept = mesh_body(body);
  PhotoMesh mesh{swept.vertices, swept.triangles};
  const double step_mm = 4.0;
  const auto count = static_cast<int>(body.rim_length_mm() / step_mm);
  Vector3 middle = Vector3::Zero();
  std::vector<Vector3> ring;
  for (int i = 0; i <= count; ++i) {
    const Section section = body.section(std::min(i * step_mm, body.rim_length_mm()));
    const SectionPiece end = section.pieces().back();
    ring.push_back(body.point(section, section.out_up(end.u_to, end.curve)));
    middle += ring.back() / (count + 1);
  }
  const auto first = static_cast<std::uint32_t>(mesh.vertices_body_mm.size());
  mesh.vertices_body_mm.push_back(middle.cast<float>());
  for (const Vector3& p : ring) mesh.vertices_body_mm.push_back((p - Vector3(0, 0, 0.02)).cast<float>());
  for (std::uint32_t i = 1; i < ring.size(); ++i) mesh.triangles.push_back({first, first + i, first + i + 1});
  return mesh;
}

// The sheet's pose: along the rim at the middle of the stretch, as near to it as its clearance allows.
Outcome<Transform> lay_sheet(const Body& body, const Stretch& stretch, TargetPlace place, double clearance_mm,
                             double table_z_mm) {
  std::vector<Vector2> rim;
  for (double s = 0.0; s <= body.rim_length_mm(); s += 2.0) {
    rim.push_back(
        body.mirrored(Vector3(body.outline_at(s).position_mm.x(), body.outline_at(s).position_mm.y(), 0)).head<2>());
  }
  const OutlinePoint at = body.outline_at(0.5 * (stretch.from_mm + stretch.to_mm));
  const Vector3 out = body.mirrored(Vector3(at.out.x(), at.out.y(), 0));
  const Vector3 corner = body.mirrored(Vector3(at.position_mm.x(), at.position_mm.y(), 0));
  // Page x runs along the rim, page y (down the page) towards the rim, page z into the wood.
  const Vector3& down_page = out;
  const Vector3 into = -Vector3::UnitZ(), right = down_page.cross(into);
  const bool beside = place == TargetPlace::beside;
  for (double away_mm = clearance_mm; away_mm < 400.0; away_mm += 2.0) {
    const Vector3 middle = corner + (beside ? 1.0 : -1.0) * (away_mm + sheet_border_mm + 0.5 * board_height_mm) * out;
    double nearest = std::numeric_limits<double>::infinity();
    for (double a = -1.0; a <= 1.0; a += 0.25) {
      for (double b : {-1.0, 1.0}) {
        const Vector3 p = middle + a * (0.5 * board_width_mm + sheet_border_mm) * right +
                          b * (0.5 * board_height_mm + sheet_border_mm) * down_page;
        for (const Vector2& r : rim) nearest = std::min(nearest, (r - p.head<2>()).norm());
      }
    }
    if (nearest < clearance_mm) continue;
    Transform T = Transform::Identity();
    T.linear() << right, down_page, into;
    double z = beside ? table_z_mm : -1e9;  // a flat sheet rests on the highest place under it
    for (double a = -1.0; a <= 1.0 && !beside; a += 0.5) {
      for (double b = -1.0; b <= 1.0; b += 0.5) {
        const Vector3 p = body.mirrored(middle + a * 105.0 * right + b * 80.0 * down_page);
        z = std::max(z, body.top_height_mm(p.head<2>()));
      }
    }
    T.translation() = middle - 0.5 * board_width_mm * right - 0.5 * board_height_mm * down_page;
    T.translation().z() = z + sheet_thickness_mm;
    return T;
  }
  return refuse(RefusalReason::plan_not_valid, "the target sheet finds no place by this rim", "simulate a larger body");
}

Outcome<void> write_text(const std::filesystem::path& path, const std::string& text) {
  std::ofstream file(path, std::ios::binary);
  file << text;
  file.close();
  if (file) return {};
  return refuse(RefusalReason::output_not_writable, "'" + path.string() + "' could not be written",
                "check that its folder is writable and has room");
}

}  // namespace

Outcome<std::vector<PhotoTruth>> photograph_body(const Body& body, const BodyFile& file, const PhotoSessionSpec& spec,
                                                 std::uint64_t seed, const std::filesystem::path& folder,
                                                 Workers& workers) {
  const Stretch stretch = stretch_of(body, spec);
  PhotoScene scene;
  scene.mesh = mesh_with_lid(body);
  scene.wood = spec.wood;
  scene.wood.seed = static_cast<std::uint32_t>(seed);
  scene.mirror_share = spec.mirror_share;
  scene.target.present = spec.target_present;
  scene.target.print_scale = spec.target_print_scale;
  scene.target.bow_mm = spec.target_bow_mm;
  scene.table_figure = spec.table_figure;
  scene.blocks_mm = spec.blocks_mm;
  const auto T_body_target = lay_sheet(body, stretch, spec.target_place, spec.target_clearance_mm,
                                       table_height_mm(scene.mesh, spec.blocks_mm));
  if (!T_body_target) return tl::unexpected(T_body_target.error());
  scene.target.T_body_target = *T_body_target;

  std::error_code error;
  std::filesystem::create_directories(folder / "photos", error);
  if (error) {
    return refuse(RefusalReason::output_not_writable, "'" + folder.string() + "' cannot be made",
                  "name a folder to write to");
  }
  std::vector<Vector3> rim, outward;
  for (double s = stretch.from_mm; s <= stretch.to_mm; s += 5.0) {
    const OutlinePoint at = body.outline_at(s);
    const double up = body.top_height_mm(at.position_mm);
    rim.push_back(body.mirrored(Vector3(at.position_mm.x(), at.position_mm.y(), up)));
    outward.push_back(body.mirrored(Vector3(at.out.x(), at.out.y(), 0)));
  }
  auto shots = plan_shots(rim, outward, spec.shots, static_cast<std::uint32_t>(seed));
  const auto count = static_cast<long>(shots.size());
  for (long i = 0; i < count; ++i) {
    PhotoShot& shot = shots[static_cast<std::size_t>(i)];
    if (spec.phones == 2) shot.phone = static_cast<std::size_t>(i % 2);
    // Shot i is one of n spread over the set where i n / count passes a whole number.
    const long n = spec.target_shots;
    if (n > 0) shot.target_there = (i + 1) * n / count > i * n / count;
  }
  auto taken = take_photos(scene, {spec.phone, another_phone(spec.phone)}, shots,
                           {spec.samples_per_pixel, static_cast<std::uint32_t>(seed)}, folder / "photos", workers);
  if (!taken) return taken;
  if (auto written = write_photo_truth(scene, *taken, folder / "cameras.json"); !written) {
    return tl::unexpected(written.error());
  }

  Transform T_sheet_target = Transform::Identity();
  T_sheet_target.linear().diagonal() = Vector3(1, -1, -1);
  SimulatedScan scan;
  const Transform T_sheet_body = T_sheet_target * T_body_target->inverse();
  scan.truth = truth_of(body, T_sheet_body, {.band_mm = file.plan.band_mm});
  if (auto written = write_text(folder / "truth.json", truth_json(body, file, scan, seed)); !written) {
    return tl::unexpected(written.error());
  }
  if (auto written = write_text(folder / "plan.yaml", plan_yaml(body.spec(), file.plan)); !written) {
    return tl::unexpected(written.error());
  }
  return taken;
}

}  // namespace rimwright
