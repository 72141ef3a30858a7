// From matched feature points to refined patches: the first pieces of surface, and the best tie points there are.
#pragma once

#include "capture/photos/camera.h"
#include "capture/photos/refine_patch.h"
#include "core/parallel.h"

namespace rimwright {

struct SeedPatchesSettings {
  double spacing_mm = 4.5;        // one patch a cell of this size
  double neighbourhood_mm = 9.0;  // of feature points, for a first normal
  RefinePatchSettings refine{.half_along_mm = 1.8, .half_across_mm = 1.8, .most_photos = 16, .farthest_tilt_deg = 40.0};
  double least_correlation = 0.6;
};

// Good patches at the network's tie points. Several first normals are tried at each (the neighbours' plane, up, the
// middle of the lines of sight); the one on which the photos agree best is kept. Order follows the points.
[[nodiscard]] std::vector<Patch> seed_patches(const CameraNetwork& network, const PhotoStack& stack,
                                              const SeedPatchesSettings& settings, Workers& workers);

// Puts the patches in the place of the network's tie points, sighted to a few hundredths of a pixel.
void tie_by_patches(const std::vector<Patch>& patches, const PhotoStack& stack, const SeedPatchesSettings& settings,
                    Workers& workers, CameraNetwork& network);

}  // namespace rimwright
