// How the bevel moves through the section as the rim goes by: in its run-outs, by half a millimetre a millimetre.
//
// Its edges, and the ledges beside them, move with it: the upper edge level along the top, the lower upright along the
// side. Points of a slab that are moved back so show one section, sharp to its ledges' walls.
#pragma once

#include <optional>
#include <vector>

#include "core/frames.h"
#include "core/parallel.h"
#include "measure/expected.h"
#include "measure/segment_sections.h"

namespace rimwright {

// At one station; profile frame where `along`, section frame (out, up) where `normal`.
struct BevelMovement {
  double middle_along_mm = 0.0;  // of the bevel: what lies above moves with the upper edge
  Vector2 normal = Vector2::UnitX();
  double speed = 0.0;                // of the face along its normal, mm a mm of rim
  double speed_growth_per_mm = 0.0;  // and what it gains

  // A point seen `ds` farther on, moved back to the station.
  [[nodiscard]] Vector2 moved_back(const Vector2& out_up_mm, double ds_mm) const;
};

// For each section; nothing where the bevel stands still, is not seen for long enough, or is shallower than channels
// that follow the rim itself.
[[nodiscard]] std::vector<std::optional<BevelMovement>> bevel_movement(const std::vector<SectionPieces>& sections,
                                                                       const Expected& expected, double lean_rad,
                                                                       Workers& workers);

// How differently the two move a point seen `reach_mm` farther on, or less.
[[nodiscard]] double farthest_apart_mm(const BevelMovement& one, const BevelMovement& other, double reach_mm);

// The movements of a section's neighbours, step_mm before and after it, carried on to its own station; those only whose
// speed differs from its own by more than `alike`.
[[nodiscard]] std::vector<BevelMovement> carried_on(const std::vector<std::optional<BevelMovement>>& movements,
                                                    std::size_t section, double step_mm, double alike);

}  // namespace rimwright
