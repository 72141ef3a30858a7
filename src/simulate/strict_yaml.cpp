#include "simulate/strict_yaml.h"

#include <algorithm>
#include <cmath>
#include <numeric>

#include "core/safe_text.h"

namespace rimwright {

namespace {

std::size_t edit_distance(std::string_view a, std::string_view b) {
  std::vector<std::size_t> row(b.size() + 1);
  std::iota(row.begin(), row.end(), std::size_t{0});
  for (std::size_t i = 1; i <= a.size(); ++i) {
    std::size_t diagonal = row[0];
    row[0] = i;
    for (std::size_t j = 1; j <= b.size(); ++j) {
      const std::size_t above = row[j];
      row[j] = std::min({row[j] + 1, row[j - 1] + 1, diagonal + (a[i - 1] == b[j - 1] ? 0 : 1)});
      diagonal = above;
    }
  }
  return row[b.size()];
}

std::string nearest_of(std::string_view word, const std::vector<std::string>& known) {
  std::string best;
  std::size_t least = word.size() + 100;
  for (const std::string& candidate : known) {
    const std::size_t d = edit_distance(word, candidate);
    if (d < least) {
      least = d;
      best = candidate;
    }
  }
  return best;
}

std::string scalar_of(const YAML::Node& node) {
  if (!node.IsScalar()) return node.IsMap() ? "a map" : node.IsSequence() ? "a list" : "nothing";
  constexpr std::size_t longest = 40;
  return "'" + safe_text(node.Scalar(), longest) + "'";
}

std::string short_number(double value) {
  char text[32];
  std::snprintf(text, sizeof text, "%g", value);
  return text;
}

}  // namespace

void refuse_at(const YAML::Node& node, const std::string& what, const std::string& what_to_do) {
  std::string place;
  const YAML::Mark mark = node.Mark();
  if (!mark.is_null()) {
    place = "line " + std::to_string(mark.line + 1) + ", column " + std::to_string(mark.column + 1) + ": ";
  }
  throw YamlRefusal{Refusal{RefusalReason::plan_not_valid, place + what, what_to_do}};
}

StrictMap::StrictMap(const YAML::Node& node, std::string where) : node_(node), where_(std::move(where)) {
  if (!node_.IsMap())
    refuse_at(node_, where_ + " is " + scalar_of(node_) + ", not a map", "write it as keys and values");
}

bool StrictMap::has(const char* key) { return optional(key).IsDefined(); }

YAML::Node StrictMap::optional(const char* key) {
  if (std::find(known_.begin(), known_.end(), key) == known_.end()) known_.emplace_back(key);
  const YAML::Node& map = node_;
  return map[key];
}

YAML::Node StrictMap::required(const char* key) {
  YAML::Node value = optional(key);
  if (!value.IsDefined()) refuse_at(node_, where_ + " has no '" + key + "'", std::string("add ") + key);
  return value;
}

void StrictMap::read(const char* key, double& value, double low, double high) {
  const YAML::Node found = optional(key);
  if (found.IsDefined()) value = number_of(found, key, low, high);
}

void StrictMap::read(const char* key, int& value, int low, int high) {
  const YAML::Node found = optional(key);
  if (!found.IsDefined()) return;
  const double number = number_of(found, key, low, high);
  if (number != std::floor(number)) refuse_at(found, std::string(key) + " must be a whole number", "round it");
  value = static_cast<int>(number);
}

void StrictMap::read(const char* key, bool& value) {
  const YAML::Node found = optional(key);
  if (!found.IsDefined()) return;
  if (!found.IsScalar() || (found.Scalar() != "true" && found.Scalar() != "false")) {
    refuse_at(found, std::string(key) + " is " + scalar_of(found), "write true or false");
  }
  value = found.Scalar() == "true";
}

void StrictMap::read(const char* key, std::string& value) {
  const YAML::Node found = optional(key);
  if (!found.IsDefined()) return;
  if (!found.IsScalar() || found.Scalar().empty() || safe_text(found.Scalar()) != found.Scalar()) {
    refuse_at(found, std::string(key) + " is not a name",
              "write 1 to 200 characters that can be shown, and save the file as UTF-8");
  }
  value = found.Scalar();
}

void StrictMap::read_required(const char* key, double& value, double low, double high) {
  value = number_of(required(key), key, low, high);
}

void StrictMap::read_required(const char* key, std::string& value) {
  (void)required(key);
  read(key, value);
}

std::size_t StrictMap::choice(const char* key, const std::vector<std::string_view>& words, std::size_t otherwise) {
  const YAML::Node found = optional(key);
  if (!found.IsDefined()) return otherwise;
  if (found.IsScalar()) {
    for (std::size_t i = 0; i < words.size(); ++i) {
      if (found.Scalar() == words[i]) return i;
    }
  }
  std::string all;
  for (const std::string_view word : words) all += (all.empty() ? "" : ", ") + std::string(word);
  refuse_at(found, std::string(key) + " is " + scalar_of(found), "write one of: " + all);
}

std::vector<YAML::Node> StrictMap::list(const char* key, std::size_t most) {
  const YAML::Node found = optional(key);
  std::vector<YAML::Node> items;
  if (!found.IsDefined()) return items;
  if (!found.IsSequence()) refuse_at(found, std::string(key) + " is " + scalar_of(found), "write it as a list");
  if (found.size() > most) {
    refuse_at(found, std::string(key) + " has " + std::to_string(found.size()) + " entries",
              "give at most " + std::to_string(most));
  }
  for (const auto& item : found) items.push_back(item);
  return items;
}

void StrictMap::finish() {
  std::vector<std::string> seen;
  for (const auto& entry : node_) {
    if (!entry.first.IsScalar()) refuse_at(entry.first, where_ + " has a key that is not a word", "mend the key");
    const std::string key = entry.first.Scalar();
    if (std::find(known_.begin(), known_.end(), key) == known_.end()) {
      refuse_at(entry.first, where_ + " has an unknown key " + scalar_of(entry.first),
                "did you mean '" + nearest_of(key, known_) + "'?");
    }
    if (std::find(seen.begin(), seen.end(), key) != seen.end()) {
      refuse_at(entry.first, where_ + " has the key '" + key + "' twice", "keep one of them");
    }
    seen.push_back(key);
  }
}

double number_of(const YAML::Node& node, const std::string& name, double low, double high) {
  double value = 0.0;
  if (!node.IsScalar() || !YAML::convert<double>::decode(node, value) || !std::isfinite(value)) {
    refuse_at(node, name + " is " + scalar_of(node) + ", not a number", "write a number");
  }
  if (value < low || value > high) {
    refuse_at(node, name + " is " + scalar_of(node), "give " + short_number(low) + " to " + short_number(high));
  }
  return value;
}

std::vector<double> numbers_of(const YAML::Node& node, const std::string& name, std::size_t count, double low,
                               double high) {
  if (!node.IsSequence() || node.size() != count) {
    refuse_at(node, name + " is not a list of " + std::to_string(count) + " numbers", "write it as [.., ..]");
  }
  std::vector<double> values;
  for (const auto& item : node) values.push_back(number_of(item, name, low, high));
  return values;
}

}  // namespace rimwright
