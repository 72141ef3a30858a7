#include "capture/depth/rim_zone.h"

#include <algorithm>
#include <cmath>

#include "capture/depth/patch_map.h"

namespace rimwright {

namespace {

// The direction that most cells share, as the mean of those within 12 degrees of the best candidate. Ties and order
// do not depend on hashing: cells are in the order of frames.
Vector3 commonest_direction(const std::vector<ZoneCell>& cells) {
  constexpr std::size_t most_candidates = 400;
  const double agreement = std::cos(radians_from_degrees(12.0));
  const std::size_t every = 1 + cells.size() / most_candidates;
  std::size_t best_count = 0;
  Vector3 best = Vector3::UnitZ();
  for (std::size_t i = 0; i < cells.size(); i += every) {
    std::size_t count = 0;
    Vector3 sum = Vector3::Zero();
    for (const ZoneCell& cell : cells) {
      if (cell.normal.dot(cells[i].normal) < agreement) continue;
      ++count;
      sum += cell.normal;
    }
    if (count > best_count) {
      best_count = count;
      best = sum.normalized();
    }
  }
  return best;
}

bool any_within(const std::vector<Vector3>& places, const Vector3& centre_mm, double reach_mm) {
  return std::any_of(places.begin(), places.end(),
                     [&](const Vector3& place) { return (place - centre_mm).squaredNorm() <= reach_mm * reach_mm; });
}

}  // namespace

Outcome<DepthRimZone> DepthRimZone::from(const std::vector<std::vector<DepthPatch>>& patches,
                                         const Alignment& alignment, const DepthRimZoneSettings& settings) {
  DepthRimZone zone;
  zone.settings_ = settings;
  // One cell a place and direction, as the model of alignment, but coarser.
  std::unordered_map<std::uint64_t, std::vector<std::size_t>> by_key;
  std::vector<std::size_t> last_frame, patch_count;
  std::vector<Vector3> centre_sum;
  for (std::size_t f = 0; f < patches.size(); ++f) {
    if (!alignment.frames[f].aligned) continue;
    const Transform& T_scan_camera = alignment.frames[f].T_scan_camera;
    for (const DepthPatch& patch : patches[f]) {
      const Vector3 point = T_scan_camera * patch.point_mm;
      const Vector3 normal = T_scan_camera.linear() * patch.normal;
      std::vector<std::size_t>& here = by_key[cell_key(point, settings.cell_mm)];
      constexpr double agreement = 0.93;  // cosine, 22 degrees
      auto found = std::find_if(here.begin(), here.end(), [&](std::size_t at) {
        return zone.cells_[at].normal.dot(normal) > agreement * zone.cells_[at].normal.norm();
      });
      if (found == here.end()) {
        here.push_back(zone.cells_.size());
        found = std::prev(here.end());
        zone.cells_.emplace_back();
        last_frame.push_back(patches.size());
        patch_count.push_back(0);
        centre_sum.push_back(Vector3::Zero());
      }
      ZoneCell& cell = zone.cells_[*found];
      cell.normal += normal;
      centre_sum[*found] += point;
      ++patch_count[*found];
      if (last_frame[*found] != f) {
        last_frame[*found] = f;
        ++cell.frames;
      }
      cell.best_incidence_rad = std::min(cell.best_incidence_rad, patch.incidence_rad);
    }
  }
  std::vector<ZoneCell> kept;
  for (std::size_t i = 0; i < zone.cells_.size(); ++i) {
    ZoneCell cell = zone.cells_[i];
    if (patch_count[i] < 4) continue;  // a stray
    cell.centre_mm = centre_sum[i] / static_cast<double>(patch_count[i]);
    cell.normal.normalize();
    kept.push_back(cell);
  }
  zone.cells_.swap(kept);
  constexpr std::size_t most_cells = 60'000;  // 6 square metres; beyond, this is a room and not a body
  if (zone.cells_.size() > most_cells) {
    return refuse(RefusalReason::file_over_limit, "the depth capture shows more than six square metres",
                  "keep the camera on the rim");
  }
  zone.up_ = commonest_direction(zone.cells_);

  std::vector<Vector3> level, upright;
  for (ZoneCell& cell : zone.cells_) {
    const double towards_up = cell.normal.dot(zone.up_);
    if (towards_up > std::cos(radians_from_degrees(settings.level_deg))) {
      cell.face = ZoneFace::level;
      level.push_back(cell.centre_mm);
    } else if (std::abs(towards_up) < std::sin(radians_from_degrees(settings.upright_deg))) {
      cell.face = ZoneFace::upright;
      upright.push_back(cell.centre_mm);
    }
  }
  if (level.empty()) {
    return refuse(RefusalReason::no_top_found, "the depth capture shows no top", "hold the camera higher");
  }
  if (upright.empty()) {
    return refuse(RefusalReason::no_side_found, "the depth capture shows no side below the rim",
                  "hold the camera lower, so that it sees side and top at once");
  }
  bool any = false;
  for (ZoneCell& cell : zone.cells_) {
    cell.near_rim =
        any_within(level, cell.centre_mm, settings.reach_mm) && any_within(upright, cell.centre_mm, settings.reach_mm);
    any = any || cell.near_rim;
    if (!cell.near_rim) continue;
    for (int x = -1; x <= 1; ++x) {
      for (int y = -1; y <= 1; ++y) {
        for (int z = -1; z <= 1; ++z) {
          zone.near_[cell_key(cell.centre_mm + settings.cell_mm * Vector3(x, y, z), settings.cell_mm)] = true;
        }
      }
    }
  }
  if (!any) {
    return refuse(RefusalReason::no_rim_found, "top and side never come near each other in the depth capture",
                  "carry the camera along the rim and keep the rim in the middle of the view");
  }
  return zone;
}

bool DepthRimZone::near_rim(const Vector3& point_scan_mm) const {
  return near_.find(cell_key(point_scan_mm, settings_.cell_mm)) != near_.end();
}

}  // namespace rimwright
