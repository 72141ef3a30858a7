// The campaign: seeded random bodies, plans, defects and scanners against the simulator's truth.
//
//   campaign [--bodies 30] [--first 1] [--check] [--each]
//
// Prints bias, coverage of U95, median U95, error and U95 over the Cramer-Rao bound of the known noise (white-noise
// bodies; ideal_bound.h; of a body the root of the sum of its errors' squares over that of the bounds', which its few
// least sure stations decide, and '(own)' the root mean square of each error over the bound at its own station), false
// passes, false fails and the share undecided, by quantity and condition. --check ends with status 1 if the counts
// contradict a demand. --each prints a line a body.
//
// Independence: windows of the fit reach up to 12 mm each way, so stations closer than 24 mm share points; correlated
// noise of length L ties stations over about 3 L; a warp or a doubtful scale ties the whole body together. A station
// counts as its share of that length.
#include <CLI/CLI.hpp>
#include <algorithm>
#include <cmath>
#include <cstdio>

#include "errors.h"
#include "ideal_bound.h"
#include "judge/compare.h"
#include "pipelines/inspect_scan.h"
#include "random_trial.h"
#include "tally.h"

using namespace rimwright;

namespace {

constexpr double longest_shared_mm = 24.0, whole_body_mm = 250.0, station_step_mm = 1.0;

double weight_of_station(const Trial& trial) {
  const double tied =
      trial.scanner.warp_mm > 0.0 || trial.scale_u > 0.0
          ? whole_body_mm
          : std::max(longest_shared_mm,
                     trial.scanner.correlated_noise_mm > 0.0 ? 3.0 * trial.scanner.correlation_length_mm : 0.0);
  return station_step_mm / tied;
}

// Ideal standard uncertainty at each error's station; 0 where there is none.
class Bounder {
 public:
  Bounder(const Body& body, const Trial& trial) : body_(body), trial_(trial) {}
  const IdealStation& at(double station_mm) {
    const auto key = std::lround(station_mm);
    const auto found = cache_.find(key);
    if (found != cache_.end()) return found->second;
    return cache_[key] = ideal_bound(body_, static_cast<double>(key), trial_.scanner.density_per_mm2,
                                     trial_.scanner.normal_noise_mm, FitSettings{});
  }
  double of(const std::string& quantity, double station_mm) {
    const IdealStation& ideal = at(station_mm);
    if (quantity == "angle") return ideal.angle_u_deg;
    if (quantity == "drop") return ideal.drop_u_mm;
    if (quantity == "top_reach") return ideal.top_reach_u_mm;
    const auto space = quantity.find(' ');
    if (space == std::string::npos) return 0.0;
    const std::size_t channel = std::stoul(quantity.substr(space + 1));
    const std::size_t step = std::stoul(quantity.substr(quantity.find('.') + 1));
    const IdealStep& bound = ideal.channels[channel][step];
    return quantity.starts_with("depth") ? bound.depth_u_mm : bound.width_u_mm;
  }

 private:
  const Body& body_;
  const Trial& trial_;
  std::map<long, IdealStation> cache_;
};

struct OverBound {
  double errors = 0.0, bounds = 0.0;      // sums of squares
  double over_own = 0.0, stations = 0.0;  // sum of squares of each error over the bound at its own station
  std::vector<double> u95;
};

void add_errors(const Trial& trial, const Body& body, const Errors& errors, Tally& tally, bool each) {
  const bool white = trial.scanner.correlated_noise_mm == 0.0 && trial.scanner.warp_mm == 0.0 && trial.scale_u == 0.0;
  Bounder bounder(body, trial);
  std::map<std::string, OverBound> over;
  for (const auto& [name, list] : errors.by_quantity) {
    if (!white) break;
    for (const auto& e : list) {
      const double bound = bounder.of(name, e.station_mm);
      if (bound <= 0.0) continue;
      OverBound& sum = over[name.substr(0, name.find(' '))];
      sum.errors += e.error * e.error;
      sum.bounds += bound * bound;
      sum.over_own += e.error * e.error / (bound * bound);
      sum.stations += 1.0;
      sum.u95.push_back(e.u95 / (1.96 * bound));
    }
  }
  for (const auto& [name, list] : errors.by_quantity) {
    if (name.find(' ') != std::string::npos || list.empty()) continue;  // steps count once, under their kind
    const bool one_a_body = name == "waviness" || name == "lower_fair" || name == "upper_fair";
    const double weight = one_a_body ? 1.0 : weight_of_station(trial);
    std::vector<std::string> conditions = trial.conditions;
    conditions.emplace_back("all");
    for (const auto& condition : conditions) {
      ErrorTally& row = tally.errors[name][condition];
      ++row.bodies;
      for (const auto& e : list) {
        const bool covered = std::abs(e.error) <= e.u95;
        ++row.stations;
        row.covered += covered;
        row.weight += weight;
        row.covered_weight += covered ? weight : 0.0;
        row.errors.push_back(e.error);
        row.u95.push_back(e.u95);
      }
      if (!over.contains(name)) continue;
      row.error_over_bound.push_back(std::sqrt(over[name].errors / over[name].bounds));
      row.error_over_own_bound.push_back(std::sqrt(over[name].over_own / over[name].stations));
      row.u95_over_bound.push_back(median_of(over[name].u95));
    }
    if (!each) continue;
    const Summary s = summarise(list);
    std::printf("  %-12s n %5zu bias %8.4f median %7.4f 95%% %7.4f U95 %7.4f covered %.3f", name.c_str(), s.count,
                s.bias, s.median, s.p95, s.median_u95, s.covered);
    if (over.contains(name))
      std::printf(" err/bound %.2f own %.2f", std::sqrt(over[name].errors / over[name].bounds),
                  std::sqrt(over[name].over_own / over[name].stations));
    std::printf("\n");
  }
}

// The true value behind a judged station, or nothing where the truth has none.
std::optional<double> true_value(const JudgedSeries& series, const TrueStation& truth) {
  if (series.kind == QuantityKind::step_width || series.kind == QuantityKind::step_depth) {
    const TrueStep& step = truth.channels[series.channel][series.step];
    if (!step.present || step.from_end_mm < ErrorSettings{}.from_run_out_mm) return std::nullopt;
    return series.kind == QuantityKind::step_width ? step.width_mm : step.depth_mm;
  }
  if (!truth.bevel_present || truth.drop_mm < ErrorSettings{}.least_drop_mm) return std::nullopt;
  if (series.kind == QuantityKind::angle) return truth.angle_deg;
  if (series.kind == QuantityKind::drop) return truth.drop_mm;
  if (series.kind == QuantityKind::straightness) return truth.straightness_mm;
  return std::nullopt;
}

void add_verdicts(const Trial& trial, const Measures& measures, const Truth& truth, Tally& tally, bool each) {
  std::map<long, TrueStation> at;  // by station of the measures, in tenths
  const auto key = [](double station_mm) { return std::lround(10.0 * station_mm); };
  const auto look_up = [&](double station_mm, const Vector3& where) {
    if (at.contains(key(station_mm))) return;
    double away = 0.0;
    TrueStation here = truth_at(truth, where, &away);
    if (away <= ErrorSettings{}.furthest_mm + 4.0 * trial.scanner.normal_noise_mm) at[key(station_mm)] = here;
  };
  for (const auto& station : measures.bevel.stations) look_up(station.station_mm, station.at_scan_mm);
  for (const auto& channel : measures.channels)
    for (const auto& station : channel.stations) look_up(station.station_mm, station.at_scan_mm);

  std::vector<std::string> conditions = trial.conditions;
  conditions.emplace_back("all");
  const auto judge = [&](const std::string& name, const JudgedStation& judged, double value, double weight) {
    const bool inside = value >= judged.lower && value <= judged.upper;
    if (each && judged.verdict == (inside ? Verdict::fail : Verdict::pass))
      std::printf("  false %s: %s at %.1f, %.4f +- %.4f, truly %.4f, allowed %.4f to %.4f\n", inside ? "fail" : "pass",
                  name.c_str(), judged.station_mm, judged.value, judged.u95, value, judged.lower, judged.upper);
    for (const auto& condition : conditions) {
      VerdictTally& row = tally.verdicts[name][condition];
      ++row.stations;
      row.undecided += judged.verdict == Verdict::undecided;
      (inside ? row.inside : row.outside) += 1;
      (inside ? row.inside_weight : row.outside_weight) += weight;
      const bool wrong = judged.verdict == (inside ? Verdict::fail : Verdict::pass);
      if (!wrong) continue;
      (inside ? row.false_fails : row.false_passes) += 1;
      (inside ? row.false_fail_weight : row.false_pass_weight) += weight;
    }
  };
  for (const auto& series : compare(trial.plan, measures)) {
    const std::string name = series.kind == QuantityKind::step_depth   ? "depth"
                             : series.kind == QuantityKind::step_width ? "width"
                                                                       : series.quantity;
    for (const auto& judged : series.stations) {
      if (series.kind == QuantityKind::waviness) judge(name, judged, truth.fairness.waviness_mm, 1.0);
      if (series.kind == QuantityKind::lower_edge_fairness) judge(name, judged, truth.fairness.lower_edge_mm, 1.0);
      if (series.kind == QuantityKind::upper_edge_fairness) judge(name, judged, truth.fairness.upper_edge_mm, 1.0);
      const auto found = at.find(key(judged.station_mm));
      if (found == at.end()) continue;
      if (const auto value = true_value(series, found->second)) judge(name, judged, *value, weight_of_station(trial));
    }
  }
}

void add_body(const Trial& trial, Tally& tally, Workers& workers, bool each) {
  const auto body = Body::from(trial.body);
  if (!body) return;  // an impossible draw is no body
  const auto scan = scan_of(trial, *body, workers);
  if (!scan) return;
  ++tally.bodies;
  if (each) {
    std::printf("body %llu: %s\n", static_cast<unsigned long long>(trial.seed), describe(trial).c_str());
    std::fflush(stdout);
  }
  const auto measures = measure_rim(scan->cloud, expected_from(trial.plan), {}, workers);
  if (!measures) {
    char density[80];
    std::snprintf(density, sizeof density, " (%.1f points/mm2, noise %.2f mm)", trial.scanner.density_per_mm2,
                  trial.scanner.normal_noise_mm);
    tally.refused.push_back("body " + std::to_string(trial.seed) + density + ": " + measures.error().sentence());
    return;
  }
  ErrorSettings settings;
  settings.furthest_mm += 4.0 * trial.scanner.normal_noise_mm;
  Errors errors = compare_with_truth(*measures, scan->truth, settings);
  const auto whole = [&](const char* name, const Measured& measured, double value) {
    if (measured.is_measured()) errors.by_quantity[name].push_back({measured.value - value, measured.u95(), value, 0});
  };
  whole("waviness", measures->bevel.waviness_mm, scan->truth.fairness.waviness_mm);
  whole("lower_fair", measures->bevel.lower_edge_fairness_mm, scan->truth.fairness.lower_edge_mm);
  whole("upper_fair", measures->bevel.upper_edge_fairness_mm, scan->truth.fairness.upper_edge_mm);
  tally.bevel_true += errors.bevel_true, tally.bevel_measured += errors.bevel_measured;
  tally.bevel_false += errors.bevel_false;
  tally.steps_true += errors.steps_true, tally.steps_measured += errors.steps_measured;
  tally.steps_false += errors.steps_false;
  if (each)
    std::printf(
        "  bevel %zu of %zu, false %zu; steps %zu of %zu, false %zu; rim %.1f of %.1f mm, noise %.4f, correlated "
        "%.4f over %.1f\n",
        errors.bevel_measured, errors.bevel_true, errors.bevel_false, errors.steps_measured, errors.steps_true,
        errors.steps_false, measures->scan.rim_length_mm, body->rim_length_mm(), measures->scan.noise_mm,
        measures->scan.correlated_noise_mm, measures->scan.correlation_length_mm);
  add_errors(trial, *body, errors, tally, each);
  add_verdicts(trial, *measures, scan->truth, tally, each);
}

}  // namespace

int main(int argc, char** argv) {
  CLI::App app{"Random bodies measured and held against their truth"};
  std::uint64_t bodies = 30, first = 1;
  bool check = false, each = false;
  app.add_option("--bodies", bodies, "how many")->check(CLI::Range(1, 100000));
  app.add_option("--first", first, "seed of the first; the others follow");
  app.add_flag("--check", check, "end with status 1 if the counts contradict a demand");
  app.add_flag("--each", each, "a line a body and quantity, and a line a wrong verdict");
  CLI11_PARSE(app, argc, argv);
  std::printf("seeds %llu to %llu\n", static_cast<unsigned long long>(first),
              static_cast<unsigned long long>(first + bodies - 1));
  Workers workers;
  Tally tally;
  for (std::uint64_t seed = first; seed < first + bodies; ++seed) add_body(random_trial(seed), tally, workers, each);
  print(tally);
  const auto found = contradicted(tally);
  std::printf("\n%zu demands contradicted\n", found.size());
  for (const auto& line : found) std::printf("  %s\n", line.c_str());
  return check && !found.empty() ? 1 : 0;
}
