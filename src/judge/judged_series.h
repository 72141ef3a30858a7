// What comes of holding a measured quantity against the plan.
#pragma once

#include <array>
#include <cstddef>
#include <limits>
#include <string>
#include <string_view>
#include <vector>

#include "core/measured.h"

namespace rimwright {

enum class Verdict { pass, fail, undecided };
[[nodiscard]] std::string_view name_of(Verdict verdict);

enum class QuantityKind {
  angle,
  drop,
  straightness,
  top_left,
  side_left,
  step_width,
  step_depth,
  waviness,
  lower_edge_fairness,
  upper_edge_fairness,
};

struct JudgedStation {
  double station_mm = 0.0;
  double value = 0.0;
  double u95 = 0.0;
  std::array<double, uncertainty_source_count> standard_u{};  // by UncertaintySource
  double degrees_of_freedom = std::numeric_limits<double>::infinity();
  // Limits that hold at this station; infinite where the plan asks nothing (the drop in a run-out).
  double lower = -std::numeric_limits<double>::infinity();
  double upper = std::numeric_limits<double>::infinity();
  Verdict verdict = Verdict::undecided;
};

// One quantity of one feature along the rim; values in mm, or degrees for angles. Only measured stations are listed.
// Waviness and edge fairness are one number for the whole bevel: one entry, at the middle of it.
struct JudgedSeries {
  std::string feature;   // "bevel", "block", or the channel's name
  std::string quantity;  // "angle", "step 1 depth", ...
  QuantityKind kind = QuantityKind::angle;
  std::size_t channel = 0;  // index into Plan::channels, for steps
  std::size_t step = 0;     // from the outside in
  double nominal = std::numeric_limits<double>::quiet_NaN();
  double lower = -std::numeric_limits<double>::infinity();
  double upper = std::numeric_limits<double>::infinity();
  std::vector<JudgedStation> stations;
};

}  // namespace rimwright
