// Gather: the scan as cells of a regular grid, each with the mean and the local plane of its points.
//
// One streaming pass over a deterministic sample of the points; everything that finds the body (orient, outline)
// works on these few thousand cells instead of on millions of points.
#pragma once

#include <cstdint>
#include <unordered_map>
#include <vector>

#include "core/cloud.h"
#include "core/parallel.h"
#include "core/refusal.h"

namespace rimwright {

struct GatherSettings {
  double smallest_cell_mm = 3.0;        // about the shortest facet that must keep a normal of its own
  double largest_cell_mm = 12.0;        // beyond this a bevel no longer has one
  std::size_t sampled_points = 400000;  // at most; moments settle long before, more only costs time
};

struct SurfaceCell {
  Eigen::Vector3f mean_mm = Eigen::Vector3f::Zero();  // scan frame, relative to Cloud::origin_mm
  Eigen::Vector3f normal = Eigen::Vector3f::Zero();   // unit, sign arbitrary; zero where too few points
  Eigen::Vector3f facing = Eigen::Vector3f::Zero();   // mean of the file's own normals, zero if it has none
  float spread_mm = 0.0F;                             // rms distance from the local plane
  float second_spread_mm = 0.0F;                      // rms extent along the narrower direction in the plane
  std::uint32_t count = 0;                            // sampled points in the cell itself
};

struct SurfaceCells {
  double cell_mm = 0.0;
  std::vector<SurfaceCell> cells;
  std::vector<std::uint64_t> keys;                          // packed grid coordinates of each cell
  std::unordered_map<std::uint64_t, std::uint32_t> lookup;  // key -> cell

  // Calls visit(index) for each of the 26 neighbours that exist.
  template <class Visit>
  void for_neighbours(std::uint32_t cell, Visit&& visit) const {
    for (int dz = -1; dz <= 1; ++dz)
      for (int dy = -1; dy <= 1; ++dy)
        for (int dx = -1; dx <= 1; ++dx) {
          if (dx == 0 && dy == 0 && dz == 0) continue;
          const auto found = lookup.find(shifted(keys[cell], dx, dy, dz));
          if (found != lookup.end()) visit(found->second);
        }
  }

  static constexpr int bits = 21;  // a coordinate: two million cells each way
  [[nodiscard]] static std::uint64_t shifted(std::uint64_t key, int dx, int dy, int dz) {
    return key + static_cast<std::uint64_t>(static_cast<std::int64_t>(dx)) +
           (static_cast<std::uint64_t>(static_cast<std::int64_t>(dy)) << bits) +
           (static_cast<std::uint64_t>(static_cast<std::int64_t>(dz)) << (2 * bits));
  }
};

// Refuses (shape_degenerate, too_few_points) a cloud in which no local planes can be formed. The cell grows until
// the noise of the scan no longer hides the facets or largest_cell_mm is reached.
[[nodiscard]] Outcome<SurfaceCells> gather_cells(const Cloud& cloud, const GatherSettings& settings, Workers& workers);

}  // namespace rimwright
