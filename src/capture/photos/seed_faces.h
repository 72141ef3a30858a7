// First patches where no feature point was matched: beyond the ends of the top that is known, side and bevel are looked
// for by sliding patches that face the ways such faces do. Growth needs one patch of a face to begin with.
#pragma once

#include <vector>

#include "capture/photos/refine_patch.h"
#include "capture/photos/slide_patch.h"
#include "core/parallel.h"

namespace rimwright {

struct SeedFacesSettings {
  double level_above_cosine = 0.9;  // of normal and up of the sheet, of what counts as top
  double neighbourhood_mm = 22.0;   // of top patches; where they lie to one side, the top ends
  double one_sided_share = 0.2;     // of that reach, between a patch and its neighbours' middle: the top ends there
  double spacing_mm = 5.0;          // between the ends looked at
  double outmost_mm = 36.0, inmost_mm = -6.0;  // the side lies so far out of the last top patch: past a bevel
  double turn_deg = 30.0;                      // to either side of the way out, that is only roughly known
  double from_plane_mm = 9.0;  // a bevel lies so near to the plane through the last top patch, leant outward
  SlidePatchSettings slide{.step_mm = 0.14, .sample_spacing_px = 2.0, .least_agreement = 0.6, .least_correlation = 0.7};
  RefinePatchSettings refine{.half_along_mm = 1.8, .half_across_mm = 1.8, .farthest_tilt_deg = 40.0};
};

// New patches only, in the order of the seeds.
[[nodiscard]] std::vector<Patch> seed_faces(const PhotoStack& stack, const std::vector<Patch>& seeds,
                                            const SeedFacesSettings& settings, Workers& workers);

}  // namespace rimwright
