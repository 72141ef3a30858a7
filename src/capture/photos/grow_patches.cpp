#include "capture/photos/grow_patches.h"

#include <array>
#include <cmath>
#include <optional>
#include <unordered_map>

namespace rimwright {
namespace {

// Places taken, by a grid of the patches' spacing; a place is taken for one direction of the normal only.
class Places {
 public:
  Places(double spacing_mm, double same_face_deg)
      : cell_mm_(spacing_mm), near_mm_(0.72 * spacing_mm), same_(std::cos(radians_from_degrees(same_face_deg))) {}

  [[nodiscard]] bool taken(const Vector3& at, const Vector3& normal) const {
    const auto [x, y, z] = cell(at);
    for (long i = x - 1; i <= x + 1; ++i) {
      for (long j = y - 1; j <= y + 1; ++j) {
        for (long k = z - 1; k <= z + 1; ++k) {
          const auto found = cells_.find(key(i, j, k));
          if (found == cells_.end()) continue;
          for (const auto& [p, n] : found->second) {
            if ((p - at).squaredNorm() < near_mm_ * near_mm_ && n.dot(normal) > same_) return true;
          }
        }
      }
    }
    return false;
  }
  void take(const Vector3& at, const Vector3& normal) {
    const auto [x, y, z] = cell(at);
    cells_[key(x, y, z)].emplace_back(at, normal);
  }

 private:
  [[nodiscard]] std::array<long, 3> cell(const Vector3& p) const {
    return {std::lround(std::floor(p.x() / cell_mm_)), std::lround(std::floor(p.y() / cell_mm_)),
            std::lround(std::floor(p.z() / cell_mm_))};
  }
  static std::uint64_t key(long x, long y, long z) {
    constexpr long bias = 1 << 20;
    return static_cast<std::uint64_t>(x + bias) << 42 | static_cast<std::uint64_t>(y + bias) << 21 |
           static_cast<std::uint64_t>(z + bias);
  }
  double cell_mm_, near_mm_, same_;
  std::unordered_map<std::uint64_t, std::vector<std::pair<Vector3, Vector3>>> cells_;
};

// Three shapes in turn: the usual square, a small one beside edges, and one long along the rim and narrow across it.
std::optional<Patch> try_at(const PhotoStack& stack, const Patch& start, const GrowWhere& where,
                            const GrowPatchesSettings& settings) {
  for (int shape = 0; shape < 3; ++shape) {
    RefinePatchSettings refine = settings.refine;
    Patch patch = start;
    if (shape == 1) refine.half_along_mm = refine.half_across_mm = settings.small_half_mm;
    if (shape == 2) {
      refine.half_along_mm = settings.long_half_mm;
      refine.half_across_mm = settings.narrow_half_mm;
      const Vector3 rim = where.along_rim(patch.at_sheet_mm);
      const Vector3 in_face = rim - patch.normal_sheet * patch.normal_sheet.dot(rim);
      if (in_face.norm() < 0.5) return std::nullopt;
      patch.along_sheet = in_face.normalized();
    }
    const auto photos = choose_photos(stack, patch.at_sheet_mm, patch.normal_sheet, refine);
    if (photos.size() < refine.fewest_photos) return std::nullopt;
    if (refine_patch(stack, photos, refine, patch) != PatchFate::good) continue;
    if (patch.correlation < settings.least_correlation) continue;
    return patch;
  }
  return std::nullopt;
}

}  // namespace

std::vector<Patch> grow_patches(const PhotoStack& stack, const std::vector<Patch>& seeds, const GrowWhere& where,
                                const GrowPatchesSettings& settings, Workers& workers) {
  Places surface(settings.spacing_mm, settings.same_face_deg), tried(settings.spacing_mm, settings.same_face_deg);
  std::vector<Patch> patches;
  std::vector<Patch> starts;
  for (const Patch& seed : seeds) {
    if (!where.wanted(seed.at_sheet_mm) || tried.taken(seed.at_sheet_mm, seed.normal_sheet)) continue;
    tried.take(seed.at_sheet_mm, seed.normal_sheet);
    starts.push_back(seed);
  }
  for (int round = 0; round < settings.most_rounds && !starts.empty(); ++round) {
    std::vector<std::optional<Patch>> grown(starts.size());
    workers.for_chunks(starts.size(), 16, [&](std::size_t begin, std::size_t end, std::size_t) {
      for (std::size_t i = begin; i < end; ++i) grown[i] = try_at(stack, starts[i], where, settings);
    });
    std::vector<Patch> next;
    for (const auto& patch : grown) {
      if (!patch || surface.taken(patch->at_sheet_mm, patch->normal_sheet)) continue;
      if (patches.size() >= settings.most_patches) return patches;
      surface.take(patch->at_sheet_mm, patch->normal_sheet);
      patches.push_back(*patch);
      if (patch->correlation < settings.parent_correlation || patch->sigma_mm > settings.parent_sigma_mm) continue;
      const Vector3 along = patch->along_sheet, across = patch->normal_sheet.cross(along);
      for (const Vector3& way : {along, Vector3(-along), across, Vector3(-across)}) {
        Patch start = *patch;
        start.at_sheet_mm += settings.spacing_mm * way;
        if (!where.wanted(start.at_sheet_mm) || tried.taken(start.at_sheet_mm, start.normal_sheet) ||
            surface.taken(start.at_sheet_mm, start.normal_sheet)) {
          continue;
        }
        tried.take(start.at_sheet_mm, start.normal_sheet);
        next.push_back(start);
      }
    }
    starts = std::move(next);
  }
  return patches;
}

}  // namespace rimwright
