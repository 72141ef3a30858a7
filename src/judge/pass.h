// One pass of an instrument, as read back from its result folder: enough to compare it with another pass and to list it
// in the instrument's history. Lengths mm, angles degrees where named so, coordinates those of the pass's own scan.
#pragma once

#include <limits>
#include <string>
#include <vector>

#include "judge/inspection.h"

namespace rimwright {

// A number as written in a result: null reads back as NaN.
struct Reported {
  double value = std::numeric_limits<double>::quiet_NaN();
  double u95 = std::numeric_limits<double>::quiet_NaN();
  [[nodiscard]] bool is_measured() const { return value == value; }
};

struct ReportedStation {
  double station_mm = 0.0;
  Vector3 at_scan_mm = Vector3::Zero();
  std::vector<Reported> quantities;  // in the order of ReportedTable::quantities
};

// The stations of one feature.
struct ReportedTable {
  std::string feature;                  // "bevel", "block", or a channel's name
  std::vector<std::string> quantities;  // "angle", "drop", "step 1 depth", ...
  std::vector<ReportedStation> stations;
};

// The rim corner curve of a pass.
struct RimPoint {
  double station_mm = 0.0;
  Vector3 at_scan_mm = Vector3::Zero();
};

// What the faces file of a result folder holds.
struct PassFaces {
  std::vector<FacePoint> points;
  std::vector<RimPoint> rim;
};

struct Pass {
  std::string folder;
  std::string instrument;
  std::string measured_at;  // ISO 8601 date and time the result was written, when known
  Verdict verdict = Verdict::undecided;
  double noise_mm = 0.0;
  double correlated_noise_mm = 0.0;  // 0 when the result does not say
  double correlation_length_mm = 0.0;
  double scale_relative_u = 0.0;  // standard; 0 when the result does not say
  std::string scale_source;
  double rim_length_mm = 0.0;
  std::vector<ReportedTable> tables;
  std::vector<Finding> findings;
  Reported waviness_mm, lower_edge_fairness_mm, upper_edge_fairness_mm;
  PassFaces faces;  // empty when the folder has no faces file
};

}  // namespace rimwright
