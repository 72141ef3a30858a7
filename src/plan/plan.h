// The plan: what the builder means to cut, as read from the YAML plan file (README, "The plan").
// Lengths are millimetres whatever the file's units; angles are degrees because the plan states them so.
#pragma once

#include <cstddef>
#include <optional>
#include <string>
#include <string_view>
#include <vector>

#include "core/refusal.h"

namespace rimwright {

enum class LengthUnit { mm, inch };

// Allowed departure from nominal: lower <= 0 <= upper.
struct Tolerance {
  double lower = 0.0;
  double upper = 0.0;
};

struct Toleranced {
  double nominal = 0.0;
  Tolerance tolerance;
  [[nodiscard]] double lower_limit() const { return nominal + tolerance.lower; }
  [[nodiscard]] double upper_limit() const { return nominal + tolerance.upper; }
};

struct Band {
  double shortest_mm = 0.0;  // wavelengths
  double longest_mm = 0.0;
};

struct BandLimit {
  Band band;
  double limit_mm = 0.0;  // peak to valley
};

struct PlannedBevel {
  Toleranced angle_deg;
  Toleranced drop_mm;
  std::optional<double> straightness_mm;
  std::optional<BandLimit> waviness;
  std::optional<BandLimit> edge_fairness;
  int line = 0;  // of the plan file, for warnings
};

struct PlannedBlock {
  double top_mm = 0.0;   // how far it goes in along the top from the rim corner
  double side_mm = 0.0;  // how far it goes down the side from the rim corner
  double keep_mm = 0.0;  // wood to keep
  int line = 0;          // of the plan file, for warnings
};

enum class ChannelCorner { top_side, top_bevel, side_bevel };
[[nodiscard]] std::string_view name_of(ChannelCorner corner);  // "top-side" and so on

struct Strip {
  std::string name;
  double thickness_mm = 0.0;
  double height_mm = 0.0;
  bool later = false;  // glued in later: its slot must stay open
  int line = 0;        // of the plan file, for warnings
};

// A step of the stepped ledge, from the outside in (deepest first). Width is cumulative from the corner.
struct PlannedStep {
  double width_mm = 0.0;
  double depth_mm = 0.0;
  std::size_t first_strip = 0;  // strips [first_strip, last_strip] sit on this step
  std::size_t last_strip = 0;
};

struct PlannedChannel {
  std::string name;
  ChannelCorner corner = ChannelCorner::top_side;
  std::vector<Strip> strips;  // from the outside in
  double glue_mm = 0.0;
  double proud_mm = 0.0;
  Tolerance width_tolerance_mm, depth_tolerance_mm;
  std::vector<PlannedStep> steps;  // derived from the strips when the plan is read
  int line = 0;                    // of the plan file, for warnings
};

// What the shop has to choose from; lists may be empty. Diameters.
struct RouterSet {
  std::vector<double> cutters_mm;
  std::vector<double> bearings_mm;   // ride on the face below or above the cutter
  std::vector<double> followers_mm;  // guide bushes that run along a template, round the cutter
};

struct Plan {
  std::string instrument;
  LengthUnit units = LengthUnit::mm;  // of the file, and so of reports for people
  std::optional<PlannedBevel> bevel;
  std::optional<PlannedBlock> block;
  std::vector<PlannedChannel> channels;
  std::optional<double> top_thickness_mm;
  RouterSet router;
};

}  // namespace rimwright
