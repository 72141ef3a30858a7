#include "capture/photos/seed_patches.h"

#include <Eigen/Eigenvalues>
#include <algorithm>
#include <cmath>
#include <map>
#include <optional>
#include <tuple>

namespace rimwright {
namespace {

using Cell = std::tuple<long, long, long>;

Cell cell_of(const Vector3& p, double size_mm) {
  return {std::lround(std::floor(p.x() / size_mm)), std::lround(std::floor(p.y() / size_mm)),
          std::lround(std::floor(p.z() / size_mm))};
}

using PointMap = std::map<Cell, std::vector<std::size_t>>;

std::vector<Vector3> neighbours_of(const Vector3& at, const std::vector<Vector3>& points, const PointMap& map,
                                   double reach_mm) {
  std::vector<std::pair<double, std::size_t>> near;
  const auto [x, y, z] = cell_of(at, reach_mm);
  for (long i = x - 1; i <= x + 1; ++i) {
    for (long j = y - 1; j <= y + 1; ++j) {
      for (long k = z - 1; k <= z + 1; ++k) {
        const auto cell = map.find({i, j, k});
        if (cell == map.end()) continue;
        for (std::size_t n : cell->second) {
          const double d = (points[n] - at).norm();
          if (d < reach_mm) near.emplace_back(d, n);
        }
      }
    }
  }
  std::sort(near.begin(), near.end());
  if (near.size() > 12) near.resize(12);
  std::vector<Vector3> found;
  for (const auto& [d, n] : near) found.push_back(points[n]);
  return found;
}

std::optional<Vector3> plane_normal(const std::vector<Vector3>& points) {
  if (points.size() < 5) return std::nullopt;
  Vector3 mean = Vector3::Zero();
  for (const Vector3& p : points) mean += p / static_cast<double>(points.size());
  Matrix3 spread = Matrix3::Zero();
  for (const Vector3& p : points) spread += (p - mean) * (p - mean).transpose();
  const Eigen::SelfAdjointEigenSolver<Matrix3> eigen(spread);
  if (eigen.eigenvalues()[1] < 1e-6) return std::nullopt;
  return eigen.eigenvectors().col(0);
}

void set_tangent(Patch& patch) {
  const Vector3 level = Vector3::UnitZ().cross(patch.normal_sheet);
  patch.along_sheet = level.norm() > 0.2
                          ? level.normalized()
                          : Vector3(Vector3::UnitX() - patch.normal_sheet * patch.normal_sheet.x()).normalized();
}

}  // namespace

std::vector<Patch> seed_patches(const CameraNetwork& network, const PhotoStack& stack,
                                const SeedPatchesSettings& settings, Workers& workers) {
  std::vector<Vector3> points, sights;
  {
    std::vector<Vector3> sum(network.points.size(), Vector3::Zero());
    for (const Sighting& s : network.sightings) {
      if (network.placed[s.photo]) {
        sum[s.point] += (stack.views[s.photo].centre_sheet_mm() - network.points[s.point].at_sheet_mm).normalized();
      }
    }
    for (std::size_t i = 0; i < network.points.size(); ++i) {
      if (network.points[i].on_target || sum[i].norm() < 1e-9) continue;
      points.push_back(network.points[i].at_sheet_mm);
      sights.push_back(sum[i].normalized());
    }
  }
  PointMap map;
  for (std::size_t i = 0; i < points.size(); ++i) map[cell_of(points[i], settings.neighbourhood_mm)].push_back(i);
  std::map<Cell, std::size_t> firsts;
  for (std::size_t i = 0; i < points.size(); ++i) firsts.try_emplace(cell_of(points[i], settings.spacing_mm), i);
  std::vector<std::size_t> chosen;
  for (const auto& [cell, i] : firsts) chosen.push_back(i);

  std::vector<std::optional<Patch>> best(chosen.size());
  workers.for_chunks(chosen.size(), 16, [&](std::size_t begin, std::size_t end, std::size_t) {
    for (std::size_t c = begin; c < end; ++c) {
      const Vector3 &at = points[chosen[c]], &sight = sights[chosen[c]];
      std::vector<Vector3> normals;
      if (auto n = plane_normal(neighbours_of(at, points, map, settings.neighbourhood_mm))) {
        normals.push_back(n->dot(sight) < 0.0 ? Vector3(-*n) : *n);
      }
      if (sight.z() > 0.4) normals.push_back(Vector3::UnitZ());
      normals.push_back(sight);
      Vector3 level(sight.x(), sight.y(), 0.0);
      if (level.norm() > 0.5) normals.push_back(level.normalized());
      for (const Vector3& normal : normals) {
        Patch patch;
        patch.at_sheet_mm = at;
        patch.normal_sheet = normal;
        set_tangent(patch);
        const auto photos = choose_photos(stack, at, normal, settings.refine);
        if (refine_patch(stack, photos, settings.refine, patch) != PatchFate::good) continue;
        if (patch.correlation < settings.least_correlation) continue;
        if (!best[c] || patch.correlation > best[c]->correlation) best[c] = patch;
        if (patch.correlation > 0.9) break;
      }
    }
  });
  std::vector<Patch> good;
  for (const auto& patch : best) {
    if (patch) good.push_back(*patch);
  }
  return good;
}

void tie_by_patches(const std::vector<Patch>& patches, const PhotoStack& stack, const SeedPatchesSettings& settings,
                    Workers& workers, CameraNetwork& network) {
  std::vector<std::vector<Vector2>> sights(patches.size());
  workers.for_chunks(patches.size(), 16, [&](std::size_t begin, std::size_t end, std::size_t) {
    for (std::size_t i = begin; i < end; ++i) sights[i] = sight_patch(stack, patches[i], settings.refine);
  });
  std::erase_if(network.sightings, [&](const Sighting& s) { return !network.points[s.point].on_target; });
  std::erase_if(network.points, [](const NetworkPoint& p) { return !p.on_target; });  // the target's come first
  for (std::size_t i = 0; i < patches.size(); ++i) {
    const auto sound =
        std::count_if(sights[i].begin(), sights[i].end(), [](const Vector2& p) { return p.allFinite(); });
    if (sound < 3) continue;
    const auto point = static_cast<std::uint32_t>(network.points.size());
    network.points.push_back({patches[i].at_sheet_mm, patches[i].at_sheet_mm, Vector3::Zero(), false});
    for (std::size_t k = 0; k < sights[i].size(); ++k) {
      if (sights[i][k].allFinite()) network.sightings.push_back({patches[i].photos[k], point, sights[i][k]});
    }
  }
}

}  // namespace rimwright
