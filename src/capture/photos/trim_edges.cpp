#include "capture/photos/trim_edges.h"

#include <algorithm>
#include <cmath>
#include <optional>

#include "capture/photos/patch_grid_index.h"

namespace rimwright {
namespace {

struct Sides {
  std::size_t here = 0, there = 0, all = 0;
};

Sides neighbours_beside(const std::vector<Patch>& patches, const PatchIndex& index, std::size_t i,
                        const Vector3& across, const TrimEdgesSettings& settings) {
  const double same = std::cos(radians_from_degrees(settings.same_face_deg));
  const Patch& patch = patches[i];
  Sides sides;
  index.for_near(patch.at_sheet_mm, [&](std::size_t n) {
    if (n == i || patches[n].normal_sheet.dot(patch.normal_sheet) < same) return;
    const Vector3 d = patches[n].at_sheet_mm - patch.at_sheet_mm;
    if (std::abs(d.dot(patch.normal_sheet)) > settings.off_plane_mm) return;
    ++sides.all;
    const double beside = d.dot(across);
    if (beside > settings.beside_mm) ++sides.here;
    if (beside < -settings.beside_mm) ++sides.there;
  });
  return sides;
}

// Direction across the rim within the patch's face; nothing for a face that runs across the rim itself.
std::optional<Vector3> across_rim(const Patch& patch, const GrowWhere& where) {
  const Vector3 rim = where.along_rim(patch.at_sheet_mm);
  const Vector3 in_face = rim - patch.normal_sheet * patch.normal_sheet.dot(rim);
  if (in_face.norm() < 0.5) return std::nullopt;
  return patch.normal_sheet.cross(in_face.normalized());
}

std::vector<Patch> without_outermost(const std::vector<Patch>& patches, const GrowWhere& where,
                                     const TrimEdgesSettings& settings) {
  const PatchIndex index(patches, settings.reach_mm);
  std::vector<Patch> kept;
  for (std::size_t i = 0; i < patches.size(); ++i) {
    const auto across = across_rim(patches[i], where);
    if (across) {
      const Sides sides = neighbours_beside(patches, index, i, *across, settings);
      if (sides.all >= settings.least_neighbours && (sides.here == 0 || sides.there == 0)) continue;
    }
    kept.push_back(patches[i]);
  }
  return kept;
}

}  // namespace

std::vector<Patch> trim_edges(const PhotoStack& stack, std::vector<Patch> patches, const GrowWhere& where,
                              const RefinePatchSettings& usual, const TrimEdgesSettings& settings, Workers& workers) {
  RefinePatchSettings refine = usual;
  refine.half_along_mm = settings.half_along_mm;
  refine.half_across_mm = settings.half_across_mm;
  std::vector<bool> narrow(patches.size(), false);
  for (int pass = 0; pass < settings.passes; ++pass) {
    const PatchIndex index(patches, settings.reach_mm);
    enum class Fate : char { stays, replaced, dropped };
    std::vector<Fate> fate(patches.size(), Fate::stays);
    std::vector<Patch> anew(patches.size());
    workers.for_chunks(patches.size(), 64, [&](std::size_t begin, std::size_t end, std::size_t) {
      for (std::size_t i = begin; i < end; ++i) {
        if (narrow[i]) continue;
        Patch patch = patches[i];
        const auto across = across_rim(patch, where);
        if (!across) continue;
        patch.along_sheet = across->cross(patch.normal_sheet);
        const Sides sides = neighbours_beside(patches, index, i, *across, settings);
        if (sides.all < settings.least_neighbours || (sides.here > 0 && sides.there > 0)) continue;
        fate[i] = Fate::dropped;
        const auto photos = choose_photos(stack, patch.at_sheet_mm, patch.normal_sheet, refine);
        if (refine_patch(stack, photos, refine, patch) != PatchFate::good) continue;
        if (patch.correlation < settings.least_correlation) continue;
        fate[i] = Fate::replaced;
        anew[i] = patch;
      }
    });
    std::vector<Patch> kept;
    std::vector<bool> kept_narrow;
    for (std::size_t i = 0; i < patches.size(); ++i) {
      if (fate[i] == Fate::dropped) continue;
      kept.push_back(fate[i] == Fate::replaced ? anew[i] : patches[i]);
      kept_narrow.push_back(narrow[i] || fate[i] == Fate::replaced);
    }
    patches = std::move(kept);
    narrow = std::move(kept_narrow);
  }
  return without_outermost(patches, where, settings);
}

}  // namespace rimwright
