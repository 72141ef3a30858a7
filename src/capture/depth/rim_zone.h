// Where near-level and near-upright faces lie close together: the zone of the rim, found coarsely, so that fusion can
// keep every point there and thin the rest. It errs on the wide side; finding the rim itself is the rim stages' work.
#pragma once

#include <cstdint>
#include <string>
#include <unordered_map>
#include <vector>

#include "capture/depth/align_frames.h"

namespace rimwright {

struct DepthRimZoneSettings {
  double cell_mm = 10.0;      // coarse: a few cells across a bevel
  double reach_mm = 55.0;     // bevel and ledges (30 mm), and as much again of top and side to refer to
  double level_deg = 25.0;    // normals within this of the top's direction are level
  double upright_deg = 30.0;  // normals within this of square to it are upright
};

enum class ZoneFace : std::uint8_t { level, upright, between };

struct ZoneCell {
  Vector3 centre_mm = Vector3::Zero();  // scan frame; mean of its patches
  Vector3 normal = Vector3::Zero();
  ZoneFace face = ZoneFace::between;
  bool near_rim = false;
  double best_incidence_rad = 4.0;  // the squarest view of it
  std::size_t frames = 0;           // that saw it
};

class DepthRimZone {
 public:
  // Refuses with no_top_found or no_side_found when the capture shows no level or no upright face, and with
  // no_rim_found when they never come near each other.
  [[nodiscard]] static Outcome<DepthRimZone> from(const std::vector<std::vector<DepthPatch>>& patches,
                                                  const Alignment& alignment, const DepthRimZoneSettings& settings);

  [[nodiscard]] bool near_rim(const Vector3& point_scan_mm) const;
  [[nodiscard]] const std::vector<ZoneCell>& cells() const { return cells_; }
  [[nodiscard]] const Vector3& up() const { return up_; }  // scan frame, towards the cameras' side of the level faces

 private:
  DepthRimZoneSettings settings_;
  Vector3 up_ = Vector3::UnitZ();
  std::vector<ZoneCell> cells_;
  std::unordered_map<std::uint64_t, bool> near_;  // by cell, with a margin of one cell
};

}  // namespace rimwright
