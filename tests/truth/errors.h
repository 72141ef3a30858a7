// Holds measures against the simulator's truth, station by station, matched by the place of the rim corner.
#pragma once

#include <map>
#include <string>
#include <vector>

#include "measure/expected.h"
#include "measure/measures.h"
#include "simulate/scanner.h"

namespace rimwright {

struct Error {
  double error = 0.0;  // measured less true
  double u95 = 0.0;
  double true_value = 0.0;
  double station_mm = 0.0;  // of the truth
};

struct Errors {
  std::map<std::string, std::vector<Error>> by_quantity;            // "angle", "drop", "top_reach", "depth", "width"
  std::size_t bevel_true = 0, bevel_measured = 0, bevel_false = 0;  // stations
  std::size_t steps_true = 0, steps_measured = 0, steps_false = 0;
};

struct ErrorSettings {
  double least_drop_mm = 5.0;
  double from_run_out_mm = 4.0;
  double furthest_mm = 3.0;  // a measured rim corner further from every true one counts as reported where nothing is
};

[[nodiscard]] Errors compare_with_truth(const Measures& measures, const Truth& truth,
                                        const ErrorSettings& settings = {});

// What a body's own planning would say, for steering the measuring.
[[nodiscard]] Expected expected_from(const BodySpec& body);

struct Summary {
  std::size_t count = 0;
  double bias = 0.0, median = 0.0, p95 = 0.0;  // of |error| the last two
  double covered = 0.0;                        // share with |error| <= U95
  double median_u95 = 0.0;
};
[[nodiscard]] Summary summarise(const std::vector<Error>& errors);

}  // namespace rimwright
