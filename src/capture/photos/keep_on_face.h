// Drops patches that do not lie on the surface their neighbours show: blends of two faces at an edge, false matches.
#pragma once

#include <vector>

#include "capture/photos/refine_patch.h"
#include "core/parallel.h"

namespace rimwright {

struct KeepOnFaceSettings {
  double reach_mm = 4.0;               // of neighbours; a quadratic follows any rim and crown over that
  double same_face_deg = 10.0;         // as in trimming edges
  double near_plane_mm = 0.5;          // neighbours farther off are another face
  std::size_t fewest_neighbours = 10;  // with fewer nothing is said, and the patch stays
  double gate_sigmas = 4.0;            // of the neighbours' robust scatter about their own surface,
  double least_gate_mm = 0.03;         // but no closer than this: a crisp edge of a defect must stay
};

// Patches in their order, without those that lie off.
[[nodiscard]] std::vector<Patch> keep_on_face(const std::vector<Patch>& patches, const KeepOnFaceSettings& settings,
                                              Workers& workers);

}  // namespace rimwright
