// The camera's depth noise, estimated from the capture itself: scatter of pixels about small planes, against range and
// incidence. The form follows the published models: a power of range (near 2 for triangulating cameras: Khoshelham and
// Elberink, Sensors 12, 2012) times a factor that grows with incidence (Nguyen, Izadi, Lovell, 3DIMPVT 2012).
// Only what differs from pixel to pixel shows here; error shared by a whole frame is alignment's to find.
#pragma once

#include <array>
#include <cstddef>
#include <vector>

#include "capture/depth/depth_patches.h"
#include "core/refusal.h"

namespace rimwright {

struct DepthNoise {
  static constexpr std::size_t incidence_bins = 8;  // of 10 degrees
  double sigma_mm = 0.0;                            // along z, at range_mm, seen square on
  double range_mm = 0.0;                            // median range of the capture
  double range_power = 2.0;
  bool range_power_fitted = false;                      // false: the capture keeps one range, 2 is assumed
  std::array<double, incidence_bins> incidence_factor;  // at the middle of each bin; 1 in the first, never falling

  [[nodiscard]] double sigma_z_mm(double z_mm, double incidence_rad) const;
};

// Refuses with capture_insufficient when fewer than 200 patches are seen.
[[nodiscard]] Outcome<DepthNoise> estimate_noise(const std::vector<std::vector<DepthPatch>>& patches);

// Takes out the patches that scatter more than noise can explain: windows across edges and steps.
void drop_edge_patches(std::vector<std::vector<DepthPatch>>& patches, const DepthNoise& noise);

}  // namespace rimwright
