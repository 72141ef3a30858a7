// What came off between two passes: the distance between the earlier and the later surface, cell by cell.
#pragma once

#include <vector>

#include "judge/align_passes.h"
#include "judge/pass.h"

namespace rimwright {

struct RemovalSettings {
  double cell_mm = 2.0;         // one cell of the map
  double radius_mm = 1.5;       // of the points a cell's surfaces are fitted to
  double most_removed_mm = 25;  // as deep as a bevel can be
  double most_added_mm = 2.0;   // filler, or an alignment that failed
};

// One cell of the later surface.
struct RemovalCell {
  FaceKind kind = FaceKind::bevel;
  double station_mm = 0.0;  // of the later pass
  double across_mm = 0.0;   // from the rim corner, in the section, along the face; positive towards the top
  Vector3 at_after_mm = Vector3::Zero();  // scan frame of the later pass
  double removed_mm = 0.0;                // along the later surface's normal; positive = wood came off
  double u_mm = 0.0;                      // standard uncertainty, all of it
  double u_alignment_mm = 0.0;            // the part that all cells share through the alignment
  double u_shared_mm = 0.0;               // the part that neighbouring cells share
  double left_mm = 0.0;                   // mean deviation of the later surface from its target; NaN off the bevel
  [[nodiscard]] double u95_mm() const;    // normal distribution; each cell has many points
  [[nodiscard]] bool came_off() const;    // the whole interval above zero
};

// Cells in order of station, then across. Cells whose earlier surface was not seen, or was not one plane there, are
// left out: nothing is guessed.
[[nodiscard]] std::vector<RemovalCell> removal_map(const Pass& before, const Pass& after,
                                                   const PassAlignment& alignment,
                                                   const RemovalSettings& settings = {});

}  // namespace rimwright
