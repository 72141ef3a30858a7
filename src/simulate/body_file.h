// The body file: a small YAML that says what to simulate, how to scan it, and which tolerances its plan shall have.
#pragma once

#include <filesystem>
#include <optional>
#include <string>

#include "simulate/body_spec.h"
#include "simulate/scanner.h"

namespace rimwright {

// The tolerances and glue of the plan that is written beside a simulated scan.
struct PlanSketch {
  bool bevel = true;  // false: leave the bevel out of the plan
  double angle_tolerance_deg = 1.0;
  double drop_tolerance_mm = 1.0;
  double straightness_mm = 0.20;
  double waviness_limit_mm = 0.15;
  double edge_fairness_limit_mm = 0.20;
  std::array<double, 2> band_mm{10.0, 80.0};
  std::optional<std::array<double, 3>> block_top_side_keep_mm;
  double glue_mm = 0.05;
  double proud_mm = 0.2;
  double width_tolerance_mm = 0.15;
  double depth_tolerance_mm = 0.15;
};

struct BodyFile {
  BodySpec body;
  ScannerSpec scanner;  // its pose is random unless the file says otherwise
  PlanSketch plan;
};

// Refuses (plan_not_valid) unknown, missing or wrong keys with line and column; files above 1 MB (file_over_limit).
[[nodiscard]] Outcome<BodyFile> read_body_file(const std::filesystem::path& path);
[[nodiscard]] Outcome<BodyFile> parse_body_file(const std::string& text);

}  // namespace rimwright
