// Where along the rim a waviness or an unfair edge lies: the stretch on which it leaves half its limit either way.
#pragma once

#include <vector>

#include "plan/plan.h"

namespace rimwright {

struct WavePlace {
  bool found = false;
  double from_mm = 0.0, to_mm = 0.0;
  double crest_mm = 0.0;   // station of the highest place of the wave
  double trough_mm = 0.0;  // and of the lowest
};

// Values at rising stations. The profile between two Gaussian filters (ISO 16610-21, cutoffs at the ends of the band),
// with a line fitted under each window so that ends and slow growth do not look like waves. Not a measurement: only
// the place is taken from it.
[[nodiscard]] WavePlace find_wave(const std::vector<double>& stations_mm, const std::vector<double>& values,
                                  const BandLimit& limit);

}  // namespace rimwright
