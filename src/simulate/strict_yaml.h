// Reading YAML maps strictly: every key must be known, every value of its type and range, and a refusal names line,
// column and the nearest known key.
#pragma once

#include <yaml-cpp/yaml.h>

#include <array>
#include <functional>
#include <optional>
#include <string>
#include <string_view>
#include <utility>
#include <vector>

#include "core/refusal.h"

namespace rimwright {

// Thrown inside the reader only; the file's entry point turns it into an Outcome.
struct YamlRefusal {
  Refusal refusal;
};

[[noreturn]] void refuse_at(const YAML::Node& node, const std::string& what, const std::string& what_to_do);

// A map whose keys are asked for one by one; finish() refuses what was never asked for.
class StrictMap {
 public:
  // `where` names the map for people: "bevel".
  StrictMap(const YAML::Node& node, std::string where);

  [[nodiscard]] bool has(const char* key);
  [[nodiscard]] YAML::Node required(const char* key);
  [[nodiscard]] YAML::Node optional(const char* key);  // undefined node when absent
  void read(const char* key, double& value, double low, double high);
  void read(const char* key, int& value, int low, int high);
  void read(const char* key, bool& value);
  void read(const char* key, std::string& value);
  void read_required(const char* key, double& value, double low, double high);
  void read_required(const char* key, std::string& value);
  [[nodiscard]] std::size_t choice(const char* key, const std::vector<std::string_view>& words, std::size_t otherwise);
  [[nodiscard]] std::vector<YAML::Node> list(const char* key, std::size_t most);
  void finish();

  [[nodiscard]] const YAML::Node& node() const { return node_; }

 private:
  YAML::Node node_;
  std::string where_;
  std::vector<std::string> known_;
};

[[nodiscard]] double number_of(const YAML::Node& node, const std::string& name, double low, double high);
[[nodiscard]] std::vector<double> numbers_of(const YAML::Node& node, const std::string& name, std::size_t count,
                                             double low, double high);

}  // namespace rimwright
