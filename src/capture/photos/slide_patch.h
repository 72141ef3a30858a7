// Slides a patch through space along its normal and finds where the photos agree on it: a plane sweep (Collins, CVPR
// 1996) for one patch, for where nothing near is known yet.
#pragma once

#include <optional>

#include "capture/photos/refine_patch.h"

namespace rimwright {

struct SlidePatchSettings {
  double step_mm = 0.07;           // half a pixel of parallax or so
  double sample_spacing_px = 1.5;  // while sliding; the refinement samples as it is told
  double least_agreement = 0.45;   // mean correlation of the better half of the photos' pairs
  std::size_t most_peaks = 2;      // that are refined; the best of them counts
  double least_correlation = 0.5;  // of the refined patch
};

// `patch` is slid from from_mm to to_mm (from > to) along its normal; where the photos agree best it is refined.
// Photos whose sight is blocked do not count. Nothing where the photos agree nowhere.
[[nodiscard]] std::optional<Patch> slide_patch(const PhotoStack& stack, const Patch& patch, double from_mm,
                                               double to_mm, const SlidePatchSettings& settings,
                                               const RefinePatchSettings& refine);

}  // namespace rimwright
