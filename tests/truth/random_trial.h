// Trials: seeded random bodies, the plans they are held against, and the scanners that look at them.
#pragma once

#include <cstdint>
#include <string>
#include <vector>

#include "core/cloud.h"
#include "plan/plan.h"
#include "simulate/scanner.h"

namespace rimwright {

struct Trial {
  std::uint64_t seed = 0;
  BodySpec body;
  Plan plan;  // nominals near the body's: some stations lie within tolerance, some outside
  ScannerSpec scanner;
  double scale_u = 0.0;      // relative standard uncertainty that the scan states
  double scale_error = 0.0;  // drawn from it; the scan is wrong by this much
  bool states_sigma = false;
  bool states_warp = false;
  std::vector<std::string> conditions;  // "noise below 0.03", "domed", ...: a row of the campaign's table each
};

// The same seed gives the same trial. Bodies are 250 to 350 mm of open rim, so that the densest
// scan stays near 1.5 million points.
[[nodiscard]] Trial random_trial(std::uint64_t seed);

[[nodiscard]] std::string describe(const Trial& trial);  // one line

// Scans the body and makes the scan wrong by the trial's scale error (its truth stays in place with it: lengths in the
// truth are those of the body).
[[nodiscard]] Outcome<SimulatedScan> scan_of(const Trial& trial, const Body& body, Workers& workers);

}  // namespace rimwright
