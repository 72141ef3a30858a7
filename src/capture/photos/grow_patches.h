// Grows the surface from its first patches, a millimetre at a time, wherever the photos agree.
// After Furukawa and Ponce, IEEE TPAMI 32 (2010), with least squares matching in the place of their refinement.
#pragma once

#include <functional>

#include "capture/photos/refine_patch.h"
#include "core/parallel.h"

namespace rimwright {

struct GrowPatchesSettings {
  double spacing_mm = 1.0;  // between neighbouring patches
  RefinePatchSettings refine{.farthest_mm = 0.25, .farthest_tilt_deg = 15.0};
  double small_half_mm = 0.8;       // half size where the usual size fails: beside edges
  double long_half_mm = 1.6;        // half size along the rim of the last try, for floors and walls of ledges,
  double narrow_half_mm = 0.45;     // and across
  double least_correlation = 0.5;   // to be kept
  double parent_correlation = 0.6;  // to grow from
  double parent_sigma_mm = 0.04;
  double same_face_deg = 20.0;  // neighbours on one face agree in normal within this
  std::size_t most_patches = 120'000;
  int most_rounds = 400;
};

// Where surface is asked for, and which way the rim runs there (level, unit); sheet frame.
struct GrowWhere {
  std::function<bool(const Vector3&)> wanted;
  std::function<Vector3(const Vector3&)> along_rim;
};

// Seeds first, in their order, then rounds of growth. The
// result does not depend on the number of workers.
[[nodiscard]] std::vector<Patch> grow_patches(const PhotoStack& stack, const std::vector<Patch>& seeds,
                                              const GrowWhere& where, const GrowPatchesSettings& settings,
                                              Workers& workers);

}  // namespace rimwright
