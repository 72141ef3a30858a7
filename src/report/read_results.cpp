#include "report/read_results.h"

#include <sys/stat.h>

#include <algorithm>
#include <cmath>
#include <ctime>
#include <filesystem>
#include <nlohmann/json.hpp>

#include "core/small_file.h"
#include "report/faces_file.h"

namespace rimwright {
namespace {

using Json = nlohmann::json;

constexpr std::size_t most_bytes = 64U << 20;
constexpr int deepest = 16;
constexpr std::size_t most_values = 4'000'000;
constexpr std::size_t most_stations = 100'000;
constexpr std::size_t most_findings = 10'000;
constexpr std::size_t most_channels = 64;
constexpr std::size_t most_steps = 16;
constexpr std::size_t longest_text = 4000;

// Something in the file is not what a result holds; `where` is a path of keys.
struct NotAResult {
  std::string where, what;
};

struct Extent {
  int depth = 0;
  std::size_t values = 0;  // about: a comma or bracket for each
};

// What the text would become, from its brackets and commas, before anything is made of it. The JSON library's own watch
// over the depth searches each list anew at each of its objects.
Extent extent_of(std::string_view json) {
  Extent extent;
  int depth = 0;
  bool in_text = false;
  for (std::size_t i = 0; i < json.size(); ++i) {
    const char c = json[i];
    if (c == '"') in_text = !in_text;
    if (in_text) {
      if (c == '\\') ++i;
      continue;
    }
    if (c == '[' || c == '{') extent.depth = std::max(extent.depth, ++depth);
    if (c == ']' || c == '}') --depth;
    if (c == '[' || c == '{' || c == ',') ++extent.values;
  }
  return extent;
}

const Json& member(const Json& object, const char* key, const std::string& where) {
  if (!object.is_object()) throw NotAResult{where, "is not an object"};
  const auto found = object.find(key);
  if (found == object.end()) throw NotAResult{where, std::string("lacks '") + key + "'"};
  return *found;
}

// null and, in places where results may lack a key, nothing at all.
const Json* optional_member(const Json& object, const char* key) {
  const auto found = object.find(key);
  return found == object.end() || found->is_null() ? nullptr : &*found;
}

double number(const Json& value, const std::string& where) {
  if (!value.is_number()) throw NotAResult{where, "is not a number"};
  const double result = value.get<double>();
  if (!std::isfinite(result)) throw NotAResult{where, "is not finite"};
  return result;
}

double number_or(const Json& object, const char* key, double otherwise, const std::string& where) {
  const Json* value = optional_member(object, key);
  return value != nullptr ? number(*value, where + "." + key) : otherwise;
}

std::string text(const Json& value, const std::string& where) {
  if (!value.is_string()) throw NotAResult{where, "is not a text"};
  auto result = value.get<std::string>();
  if (result.size() > longest_text) throw NotAResult{where, "is too long"};
  return result;
}

const Json& list(const Json& value, std::size_t most, const std::string& where) {
  if (!value.is_array()) throw NotAResult{where, "is not a list"};
  if (value.size() > most) throw NotAResult{where, "has more than " + std::to_string(most) + " entries"};
  return value;
}

// "drop_mm" and "drop_u95_mm" of one object.
Reported reported(const Json& object, const std::string& name, const std::string& unit, const std::string& where) {
  Reported result;
  const Json* value = optional_member(object, (name + unit).c_str());
  const Json* u95 = optional_member(object, (name + "_u95" + unit).c_str());
  if (value != nullptr) result.value = number(*value, where + "." + name);
  if (u95 != nullptr) result.u95 = number(*u95, where + "." + name + "_u95");
  if (result.u95 < 0.0) throw NotAResult{where + "." + name + "_u95", "is negative"};
  return result;
}

ReportedStation station_head(const Json& json, const std::string& where) {
  ReportedStation station;
  station.station_mm = number(member(json, "station_mm", where), where + ".station_mm");
  const Json& at = list(member(json, "at", where), 3, where + ".at");
  if (at.size() != 3) throw NotAResult{where + ".at", "does not have three coordinates"};
  for (std::size_t axis = 0; axis < 3; ++axis) {
    station.at_scan_mm[static_cast<Eigen::Index>(axis)] = number(at[axis], where + ".at");
  }
  return station;
}

struct Column {
  const char* key;
  const char* unit;
  const char* quantity;
};

ReportedTable plain_table(const Json& json, const std::string& feature, const std::vector<Column>& columns) {
  ReportedTable table;
  table.feature = feature;
  for (const Column& column : columns) table.quantities.emplace_back(column.quantity);
  const std::string where = feature + ".stations";
  for (const Json& entry : list(member(json, "stations", feature), most_stations, where)) {
    ReportedStation station = station_head(entry, where);
    for (const Column& column : columns) station.quantities.push_back(reported(entry, column.key, column.unit, where));
    table.stations.push_back(std::move(station));
  }
  return table;
}

ReportedTable channel_table(const Json& json) {
  ReportedTable table;
  table.feature = text(member(json, "name", "channels"), "channels.name");
  const std::string where = "channels.stations";
  const std::size_t steps = list(member(json, "planned", "channels"), most_steps, "channels.planned").size();
  for (std::size_t k = 1; k <= steps; ++k) {
    table.quantities.push_back("step " + std::to_string(k) + " width");
    table.quantities.push_back("step " + std::to_string(k) + " depth");
  }
  for (const Json& entry : list(member(json, "stations", "channels"), most_stations, where)) {
    ReportedStation station = station_head(entry, where);
    const Json& measured = list(member(entry, "steps", where), most_steps, where + ".steps");
    if (measured.size() != steps) throw NotAResult{where + ".steps", "has another number of steps than planned"};
    for (const Json& step : measured) {
      if (!step.is_object()) throw NotAResult{where + ".steps", "holds something that is not an object"};
      station.quantities.push_back(reported(step, "width", "_mm", where));
      station.quantities.push_back(reported(step, "depth", "_mm", where));
    }
    table.stations.push_back(std::move(station));
  }
  return table;
}

Verdict verdict(const Json& value, const std::string& where) {
  const std::string word = text(value, where);
  for (const Verdict known : {Verdict::pass, Verdict::fail, Verdict::undecided}) {
    if (word == name_of(known)) return known;
  }
  throw NotAResult{where, "is none of pass, fail, undecided"};
}

Finding finding(const Json& json) {
  const std::string where = "findings";
  Finding result;
  result.feature = text(member(json, "feature", where), where + ".feature");
  result.quantity = text(member(json, "quantity", where), where + ".quantity");
  result.from_mm = number(member(json, "from_mm", where), where + ".from_mm");
  result.to_mm = number(member(json, "to_mm", where), where + ".to_mm");
  result.verdict = verdict(member(json, "verdict", where), where + ".verdict");
  if (const Json* worst = optional_member(json, "worst"); worst != nullptr && worst->is_object()) {
    constexpr double unknown = std::numeric_limits<double>::quiet_NaN();
    result.worst.value = number_or(*worst, "value", unknown, where);
    result.worst.u95 = number_or(*worst, "u95", unknown, where);
    result.worst.limit = number_or(*worst, "limit", unknown, where);
    result.worst.station_mm = number_or(*worst, "station_mm", result.from_mm, where);
  }
  if (const Json* advice = optional_member(json, "advice")) result.advice = text(*advice, where + ".advice");
  return result;
}

Pass pass_from(const Json& json) {
  Pass pass;
  if (text(member(json, "format", "the result"), "format") != "rimwright-results/1") {
    throw NotAResult{"format", "is not rimwright-results/1"};
  }
  pass.instrument = text(member(json, "instrument", "the result"), "instrument");
  pass.verdict = verdict(member(json, "verdict", "the result"), "verdict");
  const Json& scan = member(json, "scan", "the result");
  if (!scan.is_object()) throw NotAResult{"scan", "is not an object"};
  pass.noise_mm = number_or(scan, "noise_mm", 0.0, "scan");
  pass.correlated_noise_mm = number_or(scan, "correlated_noise_mm", 0.0, "scan");
  pass.correlation_length_mm = number_or(scan, "correlation_length_mm", 0.0, "scan");
  pass.scale_relative_u = number_or(scan, "scale_relative_u", 0.0, "scan");
  pass.rim_length_mm = number_or(scan, "rim_length_mm", 0.0, "scan");
  if (const Json* source = optional_member(scan, "scale_source"))
    pass.scale_source = text(*source, "scan.scale_source");

  if (const Json* bevel = optional_member(json, "bevel")) {
    pass.tables.push_back(plain_table(*bevel, "bevel",
                                      {{"angle", "_deg", "angle"},
                                       {"drop", "_mm", "drop"},
                                       {"top_reach", "_mm", "top reach"},
                                       {"straightness", "_mm", "straightness"}}));
    pass.waviness_mm = reported(*bevel, "waviness", "_mm", "bevel");
    pass.lower_edge_fairness_mm = reported(*bevel, "lower_edge_fairness", "_mm", "bevel");
    pass.upper_edge_fairness_mm = reported(*bevel, "upper_edge_fairness", "_mm", "bevel");
  }
  if (const Json* block = optional_member(json, "block")) {
    pass.tables.push_back(
        plain_table(*block, "block", {{"top_left", "_mm", "top left"}, {"side_left", "_mm", "side left"}}));
  }
  if (const Json* channels = optional_member(json, "channels")) {
    for (const Json& channel : list(*channels, most_channels, "channels"))
      pass.tables.push_back(channel_table(channel));
  }
  for (const Json& entry : list(member(json, "findings", "the result"), most_findings, "findings")) {
    pass.findings.push_back(finding(entry));
  }
  return pass;
}

// When results.json was written, for people: "2026-11-25 10:30".
std::string written_at(const std::string& path) {
  struct stat status {};
  if (::stat(path.c_str(), &status) != 0) return {};
  std::tm local{};
  if (::localtime_r(&status.st_mtime, &local) == nullptr) return {};
  std::array<char, 32> out{};
  return std::strftime(out.data(), out.size(), "%Y-%m-%d %H:%M", &local) > 0 ? out.data() : "";
}

}  // namespace

Outcome<Pass> read_results_text(std::string_view json, std::string_view name) {
  const auto not_a_result = [&](const std::string& what) {
    return refuse(RefusalReason::file_malformed, std::string(name) + ": " + what, "give a folder that inspect wrote");
  };
  if (json.size() > most_bytes) return not_a_result("larger than a result can be");
  const Extent extent = extent_of(json);
  if (extent.depth > deepest) return not_a_result("nested deeper than a result is");
  if (extent.values > most_values) return not_a_result("holds more values than a result does");
  try {
    return pass_from(Json::parse(json));
  } catch (const NotAResult& error) {
    return not_a_result(error.where + " " + error.what);
  } catch (const Json::exception& error) {
    return not_a_result(std::string("not valid JSON (") + error.what() + ")");
  }
}

Outcome<Pass> read_results(const std::string& folder) {
  const std::string path = (std::filesystem::path(folder) / "results.json").string();
  const Outcome<std::string> json = read_small_file(path, most_bytes);
  if (!json) return refuse(json.error().reason, json.error().what, "give a folder that inspect wrote");
  Outcome<Pass> pass = read_results_text(*json, path);
  if (!pass) return pass;
  pass->folder = folder;
  pass->measured_at = written_at(path);
  const std::string faces_path = (std::filesystem::path(folder) / faces_file_name).string();
  if (std::error_code error; std::filesystem::exists(faces_path, error)) {
    Outcome<PassFaces> faces = read_faces(faces_path);
    if (!faces) return tl::unexpected<Refusal>(faces.error());
    pass->faces = std::move(*faces);
  }
  return pass;
}

}  // namespace rimwright
