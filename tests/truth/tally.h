// Tallies of a campaign: errors and verdicts by quantity and condition, and what their counts allow to be said.
//
// Neighbouring stations share points, so they are not independent: a station counts as `weight` of an observation,
// its share of the length over which errors are alike (see campaign.cpp). Bounds are Clopper-Pearson on the
// weighted counts (Clopper, Pearson, Biometrika 26, 1934), rounded down to whole observations.
#pragma once

#include <cstddef>
#include <map>
#include <string>
#include <vector>

namespace rimwright {

// Two-sided 95 % bounds of a probability from `hits` of `trials`; [0, 1] without trials.
struct Bounds {
  double lower = 0.0, upper = 1.0;
};
[[nodiscard]] Bounds clopper_pearson_95(double hits, double trials);

struct ErrorTally {
  std::size_t bodies = 0, stations = 0, covered = 0;
  double weight = 0.0, covered_weight = 0.0;
  std::vector<double> errors, u95;
  std::vector<double> error_over_own_bound;  // a body: root mean square of error over the bound at its own station
  std::vector<double> error_over_bound;      // by body, white noise only: rms error over rms bound
  std::vector<double> u95_over_bound;        // by body, white noise only: median of U95 / (1.96 bound)

  [[nodiscard]] double coverage() const { return static_cast<double>(covered) / static_cast<double>(stations); }
  [[nodiscard]] Bounds coverage_bounds() const { return clopper_pearson_95(covered_weight, weight); }
  [[nodiscard]] double bias() const;
};

struct VerdictTally {
  std::size_t stations = 0, undecided = 0;
  std::size_t inside = 0, outside = 0;  // tolerance, by the truth
  std::size_t false_fails = 0, false_passes = 0;
  double inside_weight = 0.0, outside_weight = 0.0, false_fail_weight = 0.0, false_pass_weight = 0.0;
  [[nodiscard]] Bounds false_pass_bounds() const { return clopper_pearson_95(false_pass_weight, outside_weight); }
  [[nodiscard]] Bounds false_fail_bounds() const { return clopper_pearson_95(false_fail_weight, inside_weight); }
};

struct Tally {
  // By quantity, then by condition; "all" is every body.
  std::map<std::string, std::map<std::string, ErrorTally>> errors;
  std::map<std::string, std::map<std::string, VerdictTally>> verdicts;
  std::size_t bevel_true = 0, bevel_measured = 0, bevel_false = 0;
  std::size_t steps_true = 0, steps_measured = 0, steps_false = 0;
  std::size_t bodies = 0;
  std::vector<std::string> refused;  // one sentence a body
};

[[nodiscard]] double median_of(std::vector<double> values);  // NaN where empty

void print(const Tally& tally);

// What the counts contradict: each line a demand that the campaign shows not to be met, beyond chance.
[[nodiscard]] std::vector<std::string> contradicted(const Tally& tally);

}  // namespace rimwright
