#include "judge/findings.h"

#include <algorithm>
#include <cmath>
#include <cstdio>
#include <limits>
#include <optional>

#include "judge/advice.h"
#include "judge/face_first.h"
#include "judge/face_place.h"
#include "judge/wave_place.h"
#include "judge/words.h"

namespace rimwright {
namespace {

struct Ranked {
  Finding finding;
  double severity = 0.0;  // larger = worse
};

// The profile along the rim that a whole-bevel quantity speaks of, where the bevel is at its fullest.
void profile_of(const Measures& measures, QuantityKind kind, const FullestStretch& fullest,
                std::vector<double>& stations_mm, std::vector<double>& values) {
  if (kind == QuantityKind::waviness) {
    const UnrolledMap& map = measures.map;
    if (map.deviation_mm.size() != map.columns * map.rows) return;
    for (std::size_t column = 0; column < map.columns; ++column) {
      double sum = 0.0;
      std::size_t count = 0;
      for (std::size_t row = 0; row < map.rows; ++row) {
        const double deviation = map.deviation_mm[row * map.columns + column];
        if (std::isnan(deviation)) continue;
        sum += deviation;
        ++count;
      }
      if (count < map.rows / 4) continue;
      stations_mm.push_back(map.first_station_mm + static_cast<double>(column) * map.station_step_mm);
      values.push_back(sum / static_cast<double>(count));
    }
    return;
  }
  for (const BevelStation& station : measures.bevel.stations) {
    const Measured& edge = kind == QuantityKind::lower_edge_fairness ? station.drop_mm : station.top_reach_mm;
    if (!edge.is_measured() || station.station_mm < fullest.from_mm || station.station_mm > fullest.to_mm) continue;
    stations_mm.push_back(station.station_mm);
    values.push_back(edge.value);
  }
}

// A number for the whole bevel is placed where its profile waves; where that does not show, from end to end.
void place_on_bevel(const Plan& plan, const Measures& measures, QuantityKind kind, Stretch& stretch) {
  if (measures.bevel.stations.empty() || !plan.bevel) return;
  stretch.from_mm = measures.bevel.stations.front().station_mm;
  stretch.to_mm = measures.bevel.stations.back().station_mm;
  const std::optional<BandLimit>& limit =
      kind == QuantityKind::waviness ? plan.bevel->waviness : plan.bevel->edge_fairness;
  if (!limit) return;
  std::vector<double> stations_mm, values;
  profile_of(measures, kind, find_fullest(measures.bevel.stations, plan.bevel->drop_mm.upper_limit()), stations_mm,
             values);
  const WavePlace place = find_wave(stations_mm, values, *limit);
  if (!place.found) return;
  stretch.from_mm = place.from_mm;
  stretch.to_mm = place.to_mm;
}

bool is_whole_bevel(QuantityKind kind) {
  return kind == QuantityKind::waviness || kind == QuantityKind::lower_edge_fairness ||
         kind == QuantityKind::upper_edge_fairness;
}

Ranked finding_of(const Plan& plan, const Measures& measures, const JudgedSeries& series, Stretch stretch) {
  if (is_whole_bevel(series.kind)) place_on_bevel(plan, measures, series.kind, stretch);
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

// A ledge along the rim ends where the bevel begins: on a piece of rim that the bevel covers there is no place for it.
bool bevel_takes_the_rim(const PlannedChannel& channel, const Measures& measures) {
  if (channel.corner != ChannelCorner::top_side || measures.bevel.stations.empty()) return false;
  constexpr double covered_share = 0.9;
  const double bevel_mm = measures.bevel.stations.back().station_mm - measures.bevel.stations.front().station_mm;
  return bevel_mm >= covered_share * measures.scan.rim_length_mm;
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
    if (!seen && !bevel_takes_the_rim(plan.channels[i], measures)) no_measure(plan.channels[i].name);
  }
  const FullestStretch fullest =
      plan.bevel ? find_fullest(measures.bevel.stations, plan.bevel->drop_mm.upper_limit()) : FullestStretch{};
  for (const Gap& gap : measures.gaps) {
    if (gap.to_mm - gap.from_mm <= settings.longest_unseen_mm || gap.why.reason == RefusalReason::not_present) continue;
    // A run-out fades to nothing: that it cannot be held to an angle there is its shape and no doubt about the work.
    if (gap.feature == "bevel" && gap.why.reason == RefusalReason::not_separable && fullest.is_known() &&
        (gap.to_mm <= fullest.from_mm || gap.from_mm >= fullest.to_mm)) {
      continue;
    }
    const std::string next = gap.why.what_to_do.empty() ? "scan that stretch again" : gap.why.what_to_do;
    const std::string feature = planned_name_of(plan, gap.feature);
    // Where the feature fails on both sides of what was not seen, the failing stretch says it already.
    const bool is_said = std::any_of(all.begin(), all.end(), [&](const Ranked& ranked) {
      const Finding& finding = ranked.finding;
      return finding.verdict == Verdict::fail && feature.rfind(finding.feature, 0) == 0 &&
             finding.from_mm <= gap.from_mm + 1.0 && finding.to_mm >= gap.to_mm - 1.0;
    });
    if (is_said) continue;
    add(feature, gap.from_mm, gap.to_mm,
        feature + " not measured " + stretch_words(gap.from_mm, gap.to_mm, plan.units) + " (" + gap.why.what +
            "): " + next);
  }
}

// Wood torn out of the bevel, held against its straightness; the deepest place of each.
void add_torn(const Plan& plan, const Measures& measures, std::vector<Ranked>& all) {
  if (!plan.bevel || !plan.bevel->straightness_mm) return;
  const double limit_mm = *plan.bevel->straightness_mm;
  for (const TornPlace& torn : measures.torn) {
    if (torn.face != FaceKind::bevel) continue;
    const double depth_mm = torn.depth_mm.value, u95_mm = torn.depth_mm.u95();
    const Verdict verdict = verdict_of(depth_mm, u95_mm, -std::numeric_limits<double>::infinity(), limit_mm);
    if (verdict == Verdict::pass) continue;
    const double middle_mm = 0.5 * (torn.from_mm + torn.to_mm);
    const FacePlace place{-depth_mm, middle_mm, torn.across_share};
    Finding finding{"bevel", "tear-out", torn.from_mm, torn.to_mm, verdict, {depth_mm, u95_mm, limit_mm, middle_mm},
                    ""};
    finding.advice = "wood torn out " + length_words(depth_mm, plan.units) + " deep around " +
                     station_words(middle_mm, plan.units) + ", " + place.words() +
                     ": fill it with the same wood, or fair the neighbours down to it";
    all.push_back({std::move(finding), (depth_mm - limit_mm) / limit_mm});
  }
}

}  // namespace

std::string planned_name_of(const Plan& plan, const std::string& feature) {
  std::size_t channel = 0, step = 0;
  const int read = std::sscanf(feature.c_str(), "channel %zu step %zu", &channel, &step);
  if (read < 1 || channel < 1 || channel > plan.channels.size()) return feature;
  return plan.channels[channel - 1].name + (read == 2 ? ", step " + std::to_string(step) : "");
}

std::vector<Finding> find_and_advise(const Plan& plan, const Measures& measures,
                                     const std::vector<JudgedSeries>& judged, const FindingsSettings& settings) {
  std::vector<Ranked> all;
  for (const JudgedSeries& series : judged) {
    for (const Stretch& stretch : find_stretches(series, settings.stretches)) {
      all.push_back(finding_of(plan, measures, series, stretch));
    }
  }
  const auto sort_worst_first = [&all] {
    std::stable_sort(all.begin(), all.end(), [](const Ranked& a, const Ranked& b) {
      const bool a_fails = a.finding.verdict == Verdict::fail, b_fails = b.finding.verdict == Verdict::fail;
      return a_fails != b_fails ? a_fails : a.severity > b.severity;
    });
  };
  sort_worst_first();  // what hangs on a face names the worst one
  for (Ranked& one : all)
    for (const Ranked& other : all)
      if (settle_face_first(plan, one.finding, other.finding)) break;
  add_unseen(plan, measures, settings, all);
  add_torn(plan, measures, all);
  sort_worst_first();
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
