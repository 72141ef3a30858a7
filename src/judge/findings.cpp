#include "judge/findings.h"

#include <algorithm>
#include <cmath>

#include "judge/advice.h"
#include "judge/words.h"

namespace rimwright {
namespace {

struct Ranked {
  Finding finding;
  double severity = 0.0;  // larger = worse
};

// A number for the whole bevel has no stretch of its own: it is said of the bevel from end to end.
void widen_to_bevel(const Measures& measures, Stretch& stretch) {
  if (measures.bevel.stations.empty()) return;
  stretch.from_mm = measures.bevel.stations.front().station_mm;
  stretch.to_mm = measures.bevel.stations.back().station_mm;
}

bool is_whole_bevel(QuantityKind kind) {
  return kind == QuantityKind::waviness || kind == QuantityKind::lower_edge_fairness ||
         kind == QuantityKind::upper_edge_fairness;
}

Ranked finding_of(const Plan& plan, const Measures& measures, const JudgedSeries& series, Stretch stretch) {
  if (is_whole_bevel(series.kind)) widen_to_bevel(measures, stretch);
  const JudgedStation& station = series.stations[stretch.worst];
  Ranked ranked;
  Finding& finding = ranked.finding;
  finding.feature = series.feature;
  finding.quantity = series.quantity;
  finding.from_mm = stretch.from_mm;
  finding.to_mm = stretch.to_mm;
  finding.verdict = stretch.verdict;
  finding.worst = {station.value, station.u95, stretch.above ? station.upper : station.lower, station.station_mm};
  finding.advice = stretch.verdict == Verdict::fail ? advise_failing(plan, measures, series, stretch)
                                                    : advise_undecided(plan, series, stretch);
  const double excess = stretch.above ? station.value - station.upper : station.lower - station.value;
  const double tolerance = std::isfinite(series.lower) && std::isfinite(series.upper)
                               ? series.upper - series.lower
                               : std::max(std::abs(finding.worst.limit), 1e-3);
  ranked.severity = excess / std::max(tolerance, 1e-6);
  return ranked;
}

// What the plan asks for and the scan does not show.
void add_unseen(const Plan& plan, const Measures& measures, const FindingsSettings& settings,
                std::vector<Ranked>& all) {
  const auto add = [&](const std::string& feature, double from_mm, double to_mm, const std::string& advice) {
    Ranked ranked;
    ranked.finding.feature = feature;
    ranked.finding.quantity = "presence";
    ranked.finding.from_mm = from_mm;
    ranked.finding.to_mm = to_mm;
    ranked.finding.verdict = Verdict::undecided;
    const double nothing = std::numeric_limits<double>::quiet_NaN();
    ranked.finding.worst = {nothing, nothing, nothing, (from_mm + to_mm) / 2};
    ranked.finding.advice = advice;
    ranked.severity = -1.0;
    all.push_back(std::move(ranked));
  };
  const auto no_measure = [&](const std::string& feature) {
    add(feature, 0.0, measures.scan.rim_length_mm,
        "nothing of the planned " + feature + " was found along " +
            station_words(measures.scan.rim_length_mm, plan.units) +
            " of rim: scan where it is, or cut it and scan again");
  };
  if (plan.bevel && measures.bevel.stations.empty()) no_measure("bevel");
  for (std::size_t i = 0; i < plan.channels.size(); ++i) {
    const bool seen = std::any_of(measures.channels.begin(), measures.channels.end(), [&](const ChannelMeasures& c) {
      return c.planned_channel == i && !c.stations.empty();
    });
    if (!seen) no_measure(plan.channels[i].name);
  }
  for (const Gap& gap : measures.gaps) {
    if (gap.to_mm - gap.from_mm <= settings.longest_unseen_mm || gap.why.reason == RefusalReason::not_present) continue;
    const std::string next = gap.why.what_to_do.empty() ? "scan that stretch again" : gap.why.what_to_do;
    add(gap.feature, gap.from_mm, gap.to_mm,
        gap.feature + " not measured " + stretch_words(gap.from_mm, gap.to_mm, plan.units) + " (" + gap.why.what +
            "): " + next);
  }
}

}  // namespace

std::vector<Finding> find_and_advise(const Plan& plan, const Measures& measures,
                                     const std::vector<JudgedSeries>& judged, const FindingsSettings& settings) {
  std::vector<Ranked> all;
  for (const JudgedSeries& series : judged) {
    for (const Stretch& stretch : find_stretches(series, settings.stretches)) {
      all.push_back(finding_of(plan, measures, series, stretch));
    }
  }
  add_unseen(plan, measures, settings, all);
  std::stable_sort(all.begin(), all.end(), [](const Ranked& a, const Ranked& b) {
    const bool a_fails = a.finding.verdict == Verdict::fail, b_fails = b.finding.verdict == Verdict::fail;
    return a_fails != b_fails ? a_fails : a.severity > b.severity;
  });
  std::vector<Finding> findings;
  for (Ranked& ranked : all) findings.push_back(std::move(ranked.finding));
  return findings;
}

Verdict overall_verdict(const std::vector<Finding>& findings, const std::vector<JudgedSeries>& judged) {
  bool undecided = std::all_of(judged.begin(), judged.end(), [](const JudgedSeries& s) { return s.stations.empty(); });
  for (const Finding& finding : findings) {
    if (finding.verdict == Verdict::fail) return Verdict::fail;
    undecided = undecided || finding.verdict == Verdict::undecided;
  }
  return undecided ? Verdict::undecided : Verdict::pass;
}

}  // namespace rimwright
