#include "capture/photos/seed_over_table.h"

#include <Eigen/Dense>
#include <algorithm>
#include <cmath>
#include <random>

#include "capture/photos/patch_grid_index.h"

namespace rimwright {
namespace {

std::vector<Vector3> on_plane(const CommonPlane& plane, const std::vector<Vector3>& places, double within_mm) {
  std::vector<Vector3> on;
  for (const Vector3& p : places) {
    if (std::abs(height_over(plane, p)) < within_mm) on.push_back(p);
  }
  return on;
}

CommonPlane plane_through(const std::vector<Vector3>& places) {
  CommonPlane plane;
  plane.middle_mm.setZero();
  for (const Vector3& p : places) plane.middle_mm += p / static_cast<double>(places.size());
  Matrix3 spread = Matrix3::Zero();
  for (const Vector3& p : places) spread += (p - plane.middle_mm) * (p - plane.middle_mm).transpose();
  plane.normal = Eigen::SelfAdjointEigenSolver<Matrix3>(spread).eigenvectors().col(0);
  if (plane.normal.z() < 0.0) plane.normal = -plane.normal;
  return plane;
}

// Whether a photo shows a place, walls of wood before it apart.
bool shows(const View& view, const Vector3& at) {
  const Vector3 p = view.T_camera_sheet * at;
  if (p.z() < 20.0) return false;
  const Vector2 pixel = project_camera_point(view.lens, p);
  return pixel.x() > 0.0 && pixel.y() > 0.0 && pixel.x() < view.width && pixel.y() < view.height;
}

// Places on the table, spaced evenly, that half of the photos look at and where no patch of it is known: what stands
// there hides it.
std::vector<Vector3> column_feet(const PhotoStack& stack, const std::vector<Vector3>& table_places,
                                 const CommonPlane& table, const ScaleTarget& target,
                                 const SeedOverTableSettings& settings) {
  const auto placed = std::count_if(stack.photos.begin(), stack.photos.end(),
                                    [](const SmoothPhoto& photo) { return !photo.values.empty(); });
  const auto is_looked_at = [&](const Vector3& at) {
    std::ptrdiff_t count = 0;
    for (std::size_t i = 0; i < stack.views.size(); ++i)
      if (!stack.photos[i].values.empty() && shows(stack.views[i], at)) ++count;
    return 2 * count >= placed;
  };
  std::vector<Patch> known;
  Vector2 low = Vector2::Constant(1e9), high = -low;
  for (const Vector3& p : table_places) {
    Patch in_plan;
    in_plan.at_sheet_mm = Vector3(p.x(), p.y(), 0.0);
    known.push_back(in_plan);
    if (!is_looked_at(p)) continue;
    low = low.cwiseMin(p.head<2>());
    high = high.cwiseMax(p.head<2>());
  }
  const PatchIndex index(known, settings.spacing_mm);
  std::vector<Vector3> feet;
  for (double x = low.x(); x <= high.x(); x += settings.spacing_mm) {
    for (double y = low.y(); y <= high.y(); y += settings.spacing_mm) {
      if (target.covers(x, -y, settings.target_margin_mm)) continue;
      bool is_table = false;
      index.for_near(Vector3(x, y, 0.0), [&](std::size_t) { is_table = true; });
      if (is_table) continue;
      const Vector2 d = Vector2(x, y) - table.middle_mm.head<2>();
      const Vector3 foot(x, y, table.middle_mm.z() - d.dot(table.normal.head<2>()) / table.normal.z());
      if (is_looked_at(foot)) feet.push_back(foot);
    }
  }
  return feet;
}

// Those that neighbours bear out.
std::vector<Patch> supported(const std::vector<Patch>& patches, const CommonPlane& table,
                             const SeedOverTableSettings& settings) {
  const PatchIndex index(patches, 3.0 * settings.spacing_mm);
  std::vector<Patch> kept;
  for (const Patch& patch : patches) {
    std::size_t neighbours = 0;
    index.for_near(patch.at_sheet_mm, [&](std::size_t n) {
      if (std::abs((patches[n].at_sheet_mm - patch.at_sheet_mm).dot(table.normal)) < settings.same_height_mm)
        ++neighbours;
    });
    if (neighbours > settings.least_neighbours) kept.push_back(patch);  // it counts itself
  }
  return kept;
}

}  // namespace

std::optional<CommonPlane> table_plane(const std::vector<Patch>& seeds, const ScaleTarget& target,
                                       const SeedOverTableSettings& settings) {
  std::vector<Vector3> all, level;
  for (const Patch& seed : seeds) {
    const Vector3& at = seed.at_sheet_mm;
    if (std::abs(at.z()) < settings.within_mm && target.covers(at.x(), -at.y(), settings.target_margin_mm)) continue;
    all.push_back(at);
    if (seed.normal_sheet.z() > settings.level_above_cosine) level.push_back(at);
  }
  const double least = settings.table_share * static_cast<double>(all.size());
  if (level.size() < 3 || static_cast<double>(level.size()) < least) return std::nullopt;
  // The plane through three of them on which most lie: where three in ten do, one draw of 37 lies on it.
  constexpr int draws = 400;
  std::mt19937 dice(1);
  const auto any = [&] { return level[dice() % level.size()]; };
  std::vector<Vector3> best;
  for (int draw = 0; draw < draws; ++draw) {
    const Vector3 a = any(), b = any(), c = any();
    const Vector3 normal = (b - a).cross(c - a).normalized();
    if (!(std::abs(normal.z()) > settings.level_above_cosine)) continue;
    std::vector<Vector3> on = on_plane({normal, a}, level, settings.within_mm);
    if (on.size() > best.size()) best = std::move(on);
  }
  if (best.size() < 3 || static_cast<double>(best.size()) < least) return std::nullopt;
  const CommonPlane plane = plane_through(on_plane(plane_through(best), level, settings.within_mm));
  const auto under = std::count_if(
      all.begin(), all.end(), [&](const Vector3& at) { return height_over(plane, at) < -2.0 * settings.within_mm; });
  if (static_cast<double>(under) > settings.below_share * static_cast<double>(all.size())) return std::nullopt;
  return plane;
}

SeedsOverTable seed_over_table(const PhotoStack& stack, const std::vector<Patch>& seeds, const ScaleTarget& target,
                               const SeedOverTableSettings& settings, Workers& workers) {
  const auto table = table_plane(seeds, target, settings);
  if (!table) return {seeds, std::nullopt};
  std::vector<Vector3> table_places;
  std::vector<Patch> others;
  for (const Patch& seed : seeds) {
    const double height_mm = height_over(*table, seed.at_sheet_mm);
    if (std::abs(height_mm) < settings.within_mm) table_places.push_back(seed.at_sheet_mm);
    if (height_mm > 2.0 * settings.within_mm) others.push_back(seed);
  }
  const std::vector<Vector3> feet = column_feet(stack, table_places, *table, target, settings);
  const PhotoStack small = shrink_stack(stack, settings.shrink, workers);
  std::vector<std::optional<Patch>> found(feet.size());
  workers.for_chunks(feet.size(), 8, [&](std::size_t begin, std::size_t end, std::size_t) {
    for (std::size_t i = begin; i < end; ++i) {
      Patch level;
      level.at_sheet_mm = feet[i];
      level.normal_sheet = table->normal;
      level.along_sheet = Vector3::UnitY().cross(table->normal).normalized();
      auto patch = slide_patch(small, level, settings.highest_mm, settings.clear_mm, settings.slide, settings.coarse);
      if (!patch) continue;
      const auto photos = choose_photos(stack, patch->at_sheet_mm, patch->normal_sheet, settings.refine);
      if (refine_patch(stack, photos, settings.refine, *patch) == PatchFate::good) found[i] = std::move(patch);
    }
  });
  std::vector<Patch> top;
  for (const auto& patch : found) {
    if (patch) top.push_back(*patch);
  }
  top = supported(top, *table, settings);
  if (top.size() < settings.fewest_patches) return {seeds, std::nullopt};
  others.insert(others.end(), top.begin(), top.end());
  return {std::move(others), table};
}

}  // namespace rimwright
