#include "judge/untouched_patches.h"

#include <array>
#include <cmath>
#include <map>

namespace rimwright {

FaceSurfaces face_surfaces(const Pass& pass) {
  std::array<std::vector<Vector3>, 3> places;
  std::array<std::vector<double>, 3> sigmas;
  std::array<std::vector<float>, 3> stations;
  for (const FacePoint& point : pass.faces.points) {
    const std::size_t which = point.kind == FaceKind::side ? 0 : point.kind == FaceKind::top ? 1 : 2;
    places[which].push_back(point.at_scan_mm.cast<double>());
    sigmas[which].push_back(point.sigma_mm > 0.0F ? static_cast<double>(point.sigma_mm) : pass.noise_mm);
    stations[which].push_back(point.station_mm);
  }
  return {{std::move(places[0]), std::move(sigmas[0])},
          {std::move(places[1]), std::move(sigmas[1])},
          {std::move(places[2]), std::move(sigmas[2])},
          std::move(stations[0]),
          std::move(stations[1])};
}

std::vector<CellMiddle> cell_middles(const SurfacePoints& points, double cell_mm, std::size_t fewest) {
  std::map<std::array<std::int64_t, 3>, std::vector<std::size_t>> cells;
  for (std::size_t i = 0; i < points.size(); ++i) {
    std::array<std::int64_t, 3> key{};
    for (std::size_t axis = 0; axis < 3; ++axis) {
      key[axis] = static_cast<std::int64_t>(std::floor(points.at(i)[static_cast<Eigen::Index>(axis)] / cell_mm));
    }
    cells[key].push_back(i);
  }
  std::vector<CellMiddle> middles;
  for (const auto& [key, members] : cells) {
    if (members.size() < fewest) continue;
    CellMiddle middle;
    for (const std::size_t i : members) middle.at_mm += points.at(i);
    middle.at_mm /= static_cast<double>(members.size());
    double nearest = INFINITY;
    for (const std::size_t i : members) {
      const double distance = (points.at(i) - middle.at_mm).squaredNorm();
      if (distance < nearest) {
        nearest = distance;
        middle.nearest = i;
      }
    }
    middles.push_back(middle);
  }
  return middles;
}

std::vector<UntouchedPatch> untouched_patches(const FaceSurfaces& faces, double patch_mm, double radius_mm,
                                              double away_mm) {
  constexpr std::size_t fewest_points = 6;
  std::vector<UntouchedPatch> patches;
  for (const FaceKind kind : {FaceKind::top, FaceKind::side}) {
    const SurfacePoints& surface = faces.of(kind);
    const std::vector<float>& stations = kind == FaceKind::top ? faces.top_station_mm : faces.side_station_mm;
    for (const CellMiddle& cell : cell_middles(surface, patch_mm, fewest_points)) {
      if (faces.worked.nearest_mm(cell.at_mm) < away_mm) continue;
      const LocalPlane plane = surface.plane_about(cell.at_mm, radius_mm);
      if (!plane.found) continue;
      UntouchedPatch patch;
      patch.kind = kind;
      patch.station_mm = static_cast<double>(stations[cell.nearest]);
      patch.normal = plane.normal;
      // The height is along the axis of search, which is the patch's own normal to first order.
      patch.at_mm = cell.at_mm + plane.height_mm * plane.normal;
      patch.variance_mm2 = plane.leverage * plane.noise_mm * plane.noise_mm;
      patches.push_back(patch);
    }
  }
  return patches;
}

}  // namespace rimwright
