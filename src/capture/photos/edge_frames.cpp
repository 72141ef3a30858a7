#include "capture/photos/edge_frames.h"

#include <Eigen/Dense>
#include <algorithm>
#include <optional>

#include "capture/photos/patch_grid_index.h"
#include "core/median.h"

namespace rimwright {
namespace {

struct EdgePair {
  RimFrame upper, lower;
  double drop_mm = 0.0;
};

// Where two planes and the section meet; nothing where they are nearly parallel.
std::optional<Vector3> meeting(const Vector3& n1, double h1_mm, const Vector3& n2, double h2_mm,
                               const RimFrame& section) {
  Matrix3 rows;
  rows << n1.transpose(), n2.transpose(), section.along.transpose();
  if (std::abs(rows.determinant()) < 0.1) return std::nullopt;
  return rows.inverse() * Vector3(h1_mm, h2_mm, section.along.dot(section.corner_mm));
}

Vector3 edge_direction(const Vector3& n1, const Vector3& n2, const Vector3& along) {
  const Vector3 direction = n1.cross(n2).normalized();
  return direction.dot(along) < 0.0 ? Vector3(-direction) : direction;
}

std::optional<EdgePair> edges_at(const RimSection& section, const EdgeFramesSettings& settings) {
  const auto& [rim, bevel] = section;
  if (!bevel) return std::nullopt;
  const double bevel_mm = bevel->normal.dot(bevel->middle_mm);
  const Vector3 side = side_normal(rim);
  const auto high = meeting(bevel->normal, bevel_mm, rim.up, rim.up.dot(rim.corner_mm), rim);
  const auto low = meeting(bevel->normal, bevel_mm, side, side.dot(rim.corner_mm), rim);
  if (!high || !low) return std::nullopt;
  EdgePair edges;
  edges.drop_mm = (rim.corner_mm - *low).dot(rim.up);
  const double in_mm = (rim.corner_mm - *high).dot(rim.out), wide_mm = (*high - *low).norm();
  if (edges.drop_mm <= 0.0 || in_mm <= 0.0 || wide_mm < settings.narrowest_mm || wide_mm > settings.bevel_reach_mm)
    return std::nullopt;
  edges.upper.corner_mm = *high;
  edges.upper.along = edge_direction(bevel->normal, rim.up, rim.along);
  edges.upper.up = rim.up;
  edges.upper.out = edges.upper.along.cross(rim.up);
  edges.lower.corner_mm = *low;
  edges.lower.along = edge_direction(bevel->normal, side, rim.along);
  edges.lower.out = side;
  edges.lower.up = side.cross(edges.lower.along);
  edges.upper.reach_mm = edges.lower.reach_mm = std::min(settings.farthest_mm, 0.5 * wide_mm);
  return edges;
}

// Blends of a stair of ledges slope like a bevel, but scatter.
bool is_face(const CommonPlane& plane, const std::vector<const Patch*>& patches, const EdgeFramesSettings& settings) {
  std::vector<double> off;
  for (const Patch* p : patches) off.push_back(std::abs((p->at_sheet_mm - plane.middle_mm).dot(plane.normal)));
  return median_of(off) < settings.roughest_mm;
}

}  // namespace

std::vector<std::vector<RimSection>> rim_sections(const std::vector<Patch>& patches,
                                                  const std::vector<std::vector<RimFrame>>& rim,
                                                  const EdgeFramesSettings& settings) {
  const PatchIndex index(patches, settings.bevel_reach_mm);
  std::vector<std::vector<RimSection>> all;
  for (const auto& run : rim) {
    std::vector<RimSection>& sections = all.emplace_back();
    for (const RimFrame& frame : run) {
      std::vector<const Patch*> sloping;
      index.for_near(frame.corner_mm, [&](std::size_t n) {
        const double cosine = patches[n].normal_sheet.dot(frame.up);
        if (cosine < settings.steep_below_cosine || cosine > settings.level_above_cosine) return;
        if (patches[n].normal_sheet.dot(frame.out) < settings.steep_below_cosine) return;
        const InSection at = in_section(frame, patches[n].at_sheet_mm);
        if (std::abs(at.along_mm) < settings.bevel_along_mm && at.out_mm < 1.0 && at.up_mm < 1.0)
          sloping.push_back(&patches[n]);
      });
      auto bevel = common_plane(sloping, settings.fewest_patches);
      if (bevel && !is_face(*bevel, sloping, settings)) bevel.reset();
      sections.push_back({frame, bevel});
    }
  }
  return all;
}

std::vector<std::vector<RimFrame>> edge_frames(const std::vector<std::vector<RimSection>>& sections,
                                               const EdgeFramesSettings& settings) {
  std::vector<std::vector<RimFrame>> all;
  for (const auto& run : sections) {
    std::vector<RimFrame> plain, upper, lower;
    for (const RimSection& section : run) {
      const auto edges = edges_at(section, settings);
      if (edges) upper.push_back(edges->upper), lower.push_back(edges->lower);
      if (!edges || edges->drop_mm < settings.shallow_mm) plain.push_back(section.rim);
    }
    constexpr std::size_t reach = 4;  // stations each way; the edges of a run-out bend within a few centimetres
    for (auto* edge : {&upper, &lower}) set_curvature(*edge, reach);
    for (auto* kind : {&plain, &upper, &lower})
      if (!kind->empty()) all.push_back(std::move(*kind));
  }
  return all;
}

}  // namespace rimwright
