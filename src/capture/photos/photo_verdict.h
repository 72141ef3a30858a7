// What a builder should know about a set of photos before believing what is measured in it, and what to shoot again.
#pragma once

#include <string>
#include <vector>

#include "capture/photos/adjust_cameras.h"
#include "capture/photos/compare_halves.h"
#include "capture/photos/photo_set.h"
#include "capture/photos/refine_patch.h"
#include "capture/scale_target.h"

namespace rimwright {

struct PhotoVerdictSettings {
  std::size_t enough_photos = 20;     // 24 are advised; below 20 say so
  double bow_mm = 0.25;               // bow of the target, over its corners, that is worth a word
  double unsharp_px = 1.15;           // blur of the target's edges; a phone held still and focused has 0.6 to 1,
  double unsharp_size_px = 4032.0;    // of a photo so long; lenses resolve no more of longer ones, pixel for pixel less
  double unsharp_share = 0.35;        // and of the photos so unsharp, from which it is worth a word
  double photo_residual_ratio = 2.5;  // a photo whose tie residual is this many medians is unsharp or moved
  double neighbours_within_deg = 60.0;   // between two photos, one more between them is worth asking for
  double thin_share = 0.35;              // patches a square mm of side below which a place counts as thinly matched
  double thin_rim_share = 0.15;          // of the rim's places, from which it is worth a word
  double disagreeing_share = 0.3;        // of photos of a face that do not agree, from which it shines
  double steepest_incidence_deg = 62.0;  // a photo from a flatter angle does not count as seeing a face
};

struct PhotoEvidence {
  const ScaleTarget& target;
  const PhotoSet& set;
  const CameraNetwork& network;
  const AdjustReport& adjusted;
  const PhotoStack& stack;
  const std::vector<Patch>& patches;  // that are kept
  const HalvesReport& halves;
  const Scale& scale;
};

// Sentences for Cloud::notes, the plain facts first, then what is wrong with what to do about it.
[[nodiscard]] std::vector<std::string> photo_verdict(const PhotoEvidence& evidence,
                                                     const PhotoVerdictSettings& settings);

// How far the sheet is from flat, mm: peak to valley, over the corners seen three times or more, of the quadric through
// their adjusted heights less its plane. A quadric, since single corners scatter by more than a flat sheet bends where
// photos are few or small. 0 with fewer than 12 such corners.
[[nodiscard]] double target_bow_mm(const CameraNetwork& network);

}  // namespace rimwright
