// What a scan holds besides the body, and what hides parts of it.
#pragma once

#include "simulate/surface_samples.h"

namespace rimwright {

class Random;

// Points on clamps' outsides; `samples` under a clamp or inside it are removed.
[[nodiscard]] std::vector<Vector3> place_clamps(const Body& body, const ScannerSpec& spec, Random& random,
                                                std::vector<SurfaceSample>& samples);
// A plane below the body, seen outside its outline.
[[nodiscard]] std::vector<Vector3> place_table(const Body& body, const ScannerSpec& spec, Random& random,
                                               const std::vector<SurfaceSample>& samples);
void cut_holes(const ScannerSpec& spec, Random& random, std::vector<SurfaceSample>& samples);

}  // namespace rimwright
