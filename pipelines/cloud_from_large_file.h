// The chain for a scan too large to hold: a coarse pass shows where the rim runs, a second keeps what lies near it.
#pragma once

#include <cstdint>
#include <filesystem>

#include "capture/clean_cloud.h"
#include "capture/units.h"
#include "rim/gather_cells.h"
#include "rim/orient.h"
#include "rim/trace_outline.h"
#include "rim/unroll.h"

namespace rimwright {

struct LargeFileSettings {
  std::uint64_t points_above = 40'000'000;   // a file with more is thinned; fewer take 2 GB at most
  std::uint64_t coarse_points = 2'000'000;   // about so many show where the rim runs, and stand for all that is far
  std::uint64_t most_near_rim = 40'000'000;  // beyond, an even share is kept: 900 points a mm2 on half a metre of rim
  // What counts as near the rim: as far as sections reach, and 10 mm more, since the coarse rim is not yet the final.
  double inside_mm = 70.0;
  double outside_mm = 22.0;
  double below_mm = 75.0;
  double above_mm = 18.0;
};

// How measuring will find the rim and how far its sections will reach: the settings of those stages themselves, so that
// the coarse pass looks for the same rim. Where sections reach farther than the zone above, the zone grows with them.
struct FindRimSettings {
  GatherSettings gather;
  OrientSettings orient;
  OutlineSettings outline;
  UnrollSettings unroll;
};

// Holds a block, the coarse cloud and what is kept, about 50 bytes a kept point at the most. Faces of meshes are not
// read: a mesh of so many corners shows all by them. The unit is judged from the coarse cloud. What was done is in the
// notes. Refusals: those of reading, and no_top_found, no_side_found, no_rim_found.
[[nodiscard]] Outcome<Cloud> cloud_from_large_file(const std::filesystem::path& path, std::uint64_t points_in_file,
                                                   const LargeFileSettings& settings, const FindRimSettings& find,
                                                   const UnitsSettings& units, const CleanCloudSettings& clean,
                                                   Workers& workers);

}  // namespace rimwright
