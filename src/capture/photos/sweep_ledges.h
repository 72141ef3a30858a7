// Floors and walls of ledges: too small to grow onto, so they are swept for in the sections of the rim.
//
// Wherever a section shows no surface from above (or from outside), a patch long along the rim and narrow across it is
// slid down (or in) through the wood. Where the photos agree best, it is refined. Plane sweeping after Collins, CVPR
// 1996; the shape of the patch is what keeps a floor from being smeared into its wall.
#pragma once

#include <vector>

#include "capture/photos/refine_patch.h"
#include "capture/photos/rim_frames.h"
#include "capture/photos/slide_patch.h"
#include "core/parallel.h"

namespace rimwright {

struct SweepLedgesSettings {
  double column_step_mm = 0.25;   // between neighbouring patches of a section; they overlap
  double above_mm = 0.4;          // the sweep begins so far outside the neighbouring faces,
  double deepest_mm = 8.0;        // and ends so far inside: deeper than any binding is high
  double narrowest_gap_mm = 1.4;  // between places of faces that are seen; less is a patch missing,
  double widest_gap_mm = 10.0;    // more is plain wood, not a ledge
  double clear_of_face_mm = 0.5;  // of the last patch of a face, for the first line beside it
  double section_mm = 1.5;        // patches of faces count for a section so far along the rim
  SlidePatchSettings slide{.step_mm = 0.1};
  // Long along the rim and narrow across it: five pixels of a 12-megapixel photo.
  RefinePatchSettings refine{.half_along_mm = 2.2,
                             .half_across_mm = 0.3,
                             .farthest_mm = 0.2,
                             .farthest_tilt_deg = 6.0,
                             .tilt_across_free = false};
  // A false match has no neighbours, and one beyond an edge has them on one side only: so many of one direction lie
  // this close by, some on either side.
  double support_along_mm = 4.0, support_across_mm = 0.6, support_off_mm = 0.05;
  std::size_t least_support = 8, least_beside = 2;
};

// Patches of one run's sweep that enough others bear out, in their order.
[[nodiscard]] std::vector<Patch> keep_with_neighbours(const std::vector<Patch>& patches,
                                                      const SweepLedgesSettings& settings);

// Patches of ledges that the faces leave room for; in the order of the runs and stations.
[[nodiscard]] std::vector<Patch> sweep_ledges(const PhotoStack& stack, const std::vector<Patch>& faces,
                                              const std::vector<std::vector<RimFrame>>& runs,
                                              const SweepLedgesSettings& settings, Workers& workers);

}  // namespace rimwright
