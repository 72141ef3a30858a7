#include "capture/photos/seed_faces.h"

#include <array>
#include <cmath>
#include <set>
#include <utility>

#include "capture/photos/patch_grid_index.h"

namespace rimwright {
namespace {

constexpr std::array<double, 3> side_depths_mm{-12.0, -22.0,
                                               -33.0};         // under the top: below most bevels, above the back
constexpr std::array<double, 3> leans_deg{30.0, 45.0, 60.0};   // of a bevel, from the top
constexpr std::array<double, 3> bevel_out_mm{4.0, 9.0, 15.0};  // of the last top patch

struct End {
  Vector3 at = Vector3::Zero(), out = Vector3::Zero();
};

// Where the top ends, and which way is out.
std::vector<End> ends_of_top(const std::vector<Patch>& seeds, const SeedFacesSettings& settings) {
  std::vector<Patch> top;
  for (const Patch& seed : seeds) {
    if (seed.normal_sheet.z() > settings.level_above_cosine) top.push_back(seed);
  }
  const PatchIndex index(top, settings.neighbourhood_mm);
  std::vector<End> ends;
  std::set<std::pair<long, long>> cells;
  for (const Patch& patch : top) {
    Vector3 middle = Vector3::Zero();
    double count = 0.0;
    index.for_near(patch.at_sheet_mm, [&](std::size_t n) {
      if (std::abs(top[n].at_sheet_mm.z() - patch.at_sheet_mm.z()) > 3.0) return;
      middle += top[n].at_sheet_mm;
      count += 1.0;
    });
    if (count < 6.0) continue;
    Vector3 out = patch.at_sheet_mm - middle / count;
    out.z() = 0.0;
    if (out.norm() < settings.one_sided_share * settings.neighbourhood_mm) continue;
    const auto cell = std::pair(std::lround(patch.at_sheet_mm.x() / settings.spacing_mm),
                                std::lround(patch.at_sheet_mm.y() / settings.spacing_mm));
    if (cells.insert(cell).second) ends.push_back({patch.at_sheet_mm, out.normalized()});
  }
  return ends;
}

Patch facing(const Vector3& at, const Vector3& normal, const Vector3& out) {
  Patch patch;
  patch.at_sheet_mm = at;
  patch.normal_sheet = normal;
  patch.along_sheet = Vector3(-out.y(), out.x(), 0.0);
  return patch;
}

}  // namespace

std::vector<Patch> seed_faces(const PhotoStack& stack, const std::vector<Patch>& seeds,
                              const SeedFacesSettings& settings, Workers& workers) {
  const std::vector<End> ends = ends_of_top(seeds, settings);
  std::vector<std::vector<Patch>> found(ends.size());
  workers.for_chunks(ends.size(), 2, [&](std::size_t begin, std::size_t end, std::size_t) {
    for (std::size_t i = begin; i < end; ++i) {
      const auto [at, straight_out] = ends[i];
      for (double turn : {0.0, -1.0, 1.0}) {
        const Vector3 out =
            Eigen::AngleAxisd(radians_from_degrees(turn * settings.turn_deg), Vector3::UnitZ()) * straight_out;
        for (double depth_mm : side_depths_mm) {
          const Patch side = facing(at + depth_mm * Vector3::UnitZ(), out, out);
          if (auto patch =
                  slide_patch(stack, side, settings.outmost_mm, settings.inmost_mm, settings.slide, settings.refine)) {
            found[i].push_back(std::move(*patch));
          }
        }
      }
      for (double lean : leans_deg) {
        const double angle = radians_from_degrees(lean);
        const Vector3 normal = std::sin(angle) * straight_out + std::cos(angle) * Vector3::UnitZ();
        const Vector3 down_face = std::cos(angle) * straight_out - std::sin(angle) * Vector3::UnitZ();
        for (double out_mm : bevel_out_mm) {
          const Patch bevel = facing(at + out_mm * down_face, normal, straight_out);
          if (auto patch = slide_patch(stack, bevel, settings.from_plane_mm, -settings.from_plane_mm, settings.slide,
                                       settings.refine)) {
            found[i].push_back(std::move(*patch));
          }
        }
      }
    }
  });
  std::vector<Patch> all;
  for (const auto& patches : found) all.insert(all.end(), patches.begin(), patches.end());
  return all;
}

}  // namespace rimwright
