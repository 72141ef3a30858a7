// A scanned body for the tests of this room, and what it looks like after the stages before the one under test.
#pragma once

#include <gtest/gtest.h>

#include "rim/gather_cells.h"
#include "rim/orient.h"
#include "rim/trace_outline.h"
#include "simulate/scanner.h"

namespace rimwright::test {

inline BodySpec bevelled_body(bool left_handed = false) {
  BodySpec spec;
  spec.outline.pieces = {{140, 1.0 / 250, 1.0 / 160}, {140, 1.0 / 160, 1.0 / 220}};
  spec.top.dome_radius_mm = 5000.0;
  spec.top.dome_centre_mm = {0.0, 120.0};
  spec.side.lean_deg = 0.7;
  spec.bevel = BevelSpec{.angle_deg = 124, .drop_mm = 14, .from_mm = 30, .to_mm = 250};
  spec.left_handed = left_handed;
  return spec;
}

inline ScannerSpec plain_scanner(double density_per_mm2 = 6.0, double noise_mm = 0.04) {
  ScannerSpec scanner;
  scanner.density_per_mm2 = density_per_mm2;
  scanner.far_density_per_mm2 = std::min(3.0, density_per_mm2);
  scanner.normal_noise_mm = noise_mm;
  scanner.sideways_noise_mm = 0.3 * noise_mm;
  return scanner;
}

struct Scanned {
  Body body;
  SimulatedScan scan;
};

inline Scanned scanned(const BodySpec& spec, const ScannerSpec& scanner, std::uint64_t seed) {
  Body body = Body::from(spec).value();
  SimulatedScan scan = scan_cloud(body, scanner, seed).value();
  return {std::move(body), std::move(scan)};
}

// The scan's direction of `up` by the truth.
inline Vector3 true_up(const SimulatedScan& scan) { return scan.truth.T_scan_body.linear() * Vector3::UnitZ(); }

}  // namespace rimwright::test
