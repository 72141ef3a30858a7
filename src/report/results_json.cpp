#include "report/results_json.h"

#include <cmath>
#include <nlohmann/json.hpp>

#include "judge/findings.h"
#include "report/budgets.h"

namespace rimwright {
namespace {

using Json = nlohmann::ordered_json;

Json number(double value) {
  if (!std::isfinite(value)) return nullptr;
  constexpr double resolution = 1e5;
  const double rounded = std::round(value * resolution) / resolution;
  return rounded == 0.0 ? 0.0 : rounded;  // no minus zero
}

Json point(const Vector3& p) { return Json::array({number(p.x()), number(p.y()), number(p.z())}); }

// Adds "<name>" and "<u95_name>"; a quantity without a value gets its reason in `why_null`.
void put(Json& object, Json& why_null, const char* name, const char* u95_name, const Measured& measured) {
  object[name] = number(measured.value);
  object[u95_name] = number(measured.u95());
  if (!measured.is_measured()) why_null[name] = measured.why_not.what;
}

void close(Json& object, Json& why_null) {
  if (!why_null.empty()) object["why_null"] = std::move(why_null);
}

Json bevel_json(const BevelMeasures& bevel) {
  Json stations = Json::array();
  for (const BevelStation& station : bevel.stations) {
    Json entry, why_null = Json::object();
    entry["station_mm"] = number(station.station_mm);
    entry["at"] = point(station.at_scan_mm);
    put(entry, why_null, "angle_deg", "angle_u95_deg", station.angle_deg);
    put(entry, why_null, "drop_mm", "drop_u95_mm", station.drop_mm);
    put(entry, why_null, "top_reach_mm", "top_reach_u95_mm", station.top_reach_mm);
    put(entry, why_null, "straightness_mm", "straightness_u95_mm", station.straightness_mm);
    entry["crown_mm"] = station.straightness_mm.is_measured() ? number(station.crown_mm) : Json(nullptr);
    close(entry, why_null);
    stations.push_back(std::move(entry));
  }
  Json object, why_null = Json::object();
  object["stations"] = std::move(stations);
  put(object, why_null, "waviness_mm", "waviness_u95_mm", bevel.waviness_mm);
  put(object, why_null, "lower_edge_fairness_mm", "lower_edge_fairness_u95_mm", bevel.lower_edge_fairness_mm);
  put(object, why_null, "upper_edge_fairness_mm", "upper_edge_fairness_u95_mm", bevel.upper_edge_fairness_mm);
  close(object, why_null);
  return object;
}

Json block_json(const std::vector<BlockStation>& block) {
  Json stations = Json::array();
  for (const BlockStation& station : block) {
    Json entry, why_null = Json::object();
    entry["station_mm"] = number(station.station_mm);
    entry["at"] = point(station.at_scan_mm);
    put(entry, why_null, "top_left_mm", "top_left_u95_mm", station.top_left_mm);
    put(entry, why_null, "side_left_mm", "side_left_u95_mm", station.side_left_mm);
    close(entry, why_null);
    stations.push_back(std::move(entry));
  }
  return Json{{"stations", std::move(stations)}};
}

Json channel_json(const PlannedChannel& planned, const ChannelMeasures* measured) {
  Json object;
  object["name"] = planned.name;
  object["corner"] = std::string(name_of(planned.corner));
  object["planned"] = Json::array();
  for (const PlannedStep& step : planned.steps) {
    object["planned"].push_back({{"width_mm", number(step.width_mm)}, {"depth_mm", number(step.depth_mm)}});
  }
  object["stations"] = Json::array();
  if (measured == nullptr) return object;
  for (const ChannelStation& station : measured->stations) {
    Json entry;
    entry["station_mm"] = number(station.station_mm);
    entry["at"] = point(station.at_scan_mm);
    entry["steps"] = Json::array();
    for (const StepMeasures& step : station.steps) {
      Json one, why_null = Json::object();
      put(one, why_null, "width_mm", "width_u95_mm", step.width_mm);
      put(one, why_null, "depth_mm", "depth_u95_mm", step.depth_mm);
      close(one, why_null);
      entry["steps"].push_back(std::move(one));
    }
    object["stations"].push_back(std::move(entry));
  }
  return object;
}

Json finding_json(const Finding& finding) {
  Json object;
  object["feature"] = finding.feature;
  object["quantity"] = finding.quantity;
  object["from_mm"] = number(finding.from_mm);
  object["to_mm"] = number(finding.to_mm);
  object["verdict"] = std::string(name_of(finding.verdict));
  object["worst"] = {{"value", number(finding.worst.value)},
                     {"u95", number(finding.worst.u95)},
                     {"limit", number(finding.worst.limit)},
                     {"station_mm", number(finding.worst.station_mm)}};
  object["advice"] = finding.advice;
  return object;
}

Json limits_json(const std::vector<JudgedSeries>& judged) {
  Json limits = Json::array();
  for (const JudgedSeries& series : judged) {
    limits.push_back({{"feature", series.feature},
                      {"quantity", series.quantity},
                      {"unit", series.kind == QuantityKind::angle ? "deg" : "mm"},
                      {"nominal", number(series.nominal)},
                      {"lower", number(series.lower)},
                      {"upper", number(series.upper)},
                      {"stations", series.stations.size()}});
  }
  return limits;
}

Json budgets_json(const std::vector<JudgedSeries>& judged) {
  Json budgets = Json::array();
  for (const Budget& budget : budgets_of(judged)) {
    Json sources;
    for (std::size_t i = 0; i < uncertainty_source_count; ++i) {
      sources[std::string(name_of(static_cast<UncertaintySource>(i)))] = number(budget.median_standard_u[i]);
    }
    budgets.push_back({{"feature", budget.feature},
                       {"quantity", budget.quantity},
                       {"unit", budget.is_angle ? "deg" : "mm"},
                       {"stations", budget.stations},
                       {"median_u95", number(budget.median_u95)},
                       {"median_degrees_of_freedom", number(budget.median_degrees_of_freedom)},
                       {"median_standard_u", std::move(sources)},
                       {"in_words", words_for(budget)}});
  }
  return budgets;
}

Json results_of(const Inspection& inspection, const ReportContext& context) {
  const Plan& plan = inspection.plan;
  const Measures& measures = inspection.measures;
  const std::vector<JudgedSeries>& judged = inspection.judged;
  Json root;
  root["format"] = "rimwright-results/1";
  root["instrument"] = plan.instrument;
  root["units"] = "mm";
  root["verdict"] = std::string(name_of(inspection.verdict));

  const ScanSummary& scan = measures.scan;
  root["scan"] = {{"points", scan.points},
                  {"noise_mm", number(scan.noise_mm)},
                  {"spacing_mm", number(scan.spacing_mm)},
                  {"scale", number(inspection.scale.factor)},
                  {"scale_source", inspection.scale.source},
                  {"rim_length_mm", number(scan.rim_length_mm)},
                  {"scale_relative_u", number(inspection.scale.relative_standard_u)},
                  {"points_near_rim", scan.points_near_rim},
                  {"correlated_noise_mm", number(scan.correlated_noise_mm)},
                  {"correlation_length_mm", number(scan.correlation_length_mm)},
                  {"rim_closed", scan.rim_closed},
                  {"dome_radius_mm", number(scan.dome_radius_mm)},
                  {"lean_deg", number(scan.lean_deg)},
                  {"seen_share", number(scan.seen_share)}};

  root["bevel"] = plan.bevel ? bevel_json(measures.bevel) : Json(nullptr);
  root["block"] = plan.block ? block_json(measures.block) : Json(nullptr);
  root["channels"] = Json::array();
  for (std::size_t i = 0; i < plan.channels.size(); ++i) {
    const ChannelMeasures* measured = nullptr;
    for (const ChannelMeasures& channel : measures.channels) {
      if (channel.planned_channel == i) measured = &channel;
    }
    root["channels"].push_back(channel_json(plan.channels[i], measured));
  }
  root["findings"] = Json::array();
  for (const Finding& finding : inspection.findings) root["findings"].push_back(finding_json(finding));

  root["limits"] = limits_json(judged);
  root["budgets"] = budgets_json(judged);
  root["gaps"] = Json::array();
  for (const Gap& gap : measures.gaps) {
    root["gaps"].push_back({{"feature", planned_name_of(plan, gap.feature)},
                            {"from_mm", number(gap.from_mm)},
                            {"to_mm", number(gap.to_mm)},
                            {"reason", std::string(name_of(gap.why.reason))},
                            {"what", gap.why.what},
                            {"what_to_do", gap.why.what_to_do}});
  }
  root["notes"] = Json::array();
  for (const std::string& note : inspection.capture_notes) root["notes"].push_back(note);
  for (const std::string& note : measures.notes) root["notes"].push_back(note);
  root["counts"] = {{"points_in_file", inspection.counts.points_in_file},
                    {"not_finite", inspection.counts.not_finite},
                    {"duplicates", inspection.counts.duplicates},
                    {"far_outliers", inspection.counts.far_outliers},
                    {"sampled_from_faces", inspection.counts.sampled_from_faces}};
  root["made_by"] = {{"program", "rimwright"}, {"version", context.version}};
  root["inputs"] = {
      {"plan", {{"name", context.plan_name}, {"sha256", context.plan_sha256}}},
      {"scan", {{"name", context.scan_name}, {"sha256", context.scan_sha256}, {"bytes", context.scan_bytes}}}};
  root["settings"] = Json::object();
  for (const auto& [key, value] : context.settings) root["settings"][key] = value;
  return root;
}

// Bytes that are not UTF-8 are replaced: the file must stay JSON whatever names it was given.
std::string text_of(const Json& root, int indent) {
  return root.dump(indent, ' ', false, Json::error_handler_t::replace);
}

}  // namespace

std::string results_json(const Inspection& inspection, const ReportContext& context) {
  return text_of(results_of(inspection, context), 1) + "\n";
}

ResultsText results_text(const Inspection& inspection, const ReportContext& context) {
  const Json root = results_of(inspection, context);
  return {text_of(root, 1) + "\n", text_of(root, -1)};
}

}  // namespace rimwright
