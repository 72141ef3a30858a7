// Walks a strict YAML tree, asks for what is expected, and keeps the first thing that is wrong with its line, column
// and the nearest known word.
#pragma once

#include <optional>
#include <string>
#include <string_view>
#include <utility>
#include <vector>

#include "core/refusal.h"
#include "plan/strict_yaml.h"

namespace rimwright {

// The known word nearest to the given one (edit distance with swaps), if it is near enough to be a slip.
[[nodiscard]] std::optional<std::string> nearest_word(std::string_view word, const std::vector<std::string>& known);

// Walks a tree and keeps the first thing that is wrong; every getter returns a harmless value after a failure, so a
// reader can be written straight down and ask once at the end.
class YamlReader {
 public:
  YamlReader(std::string source_name, RefusalReason reason) : name_(std::move(source_name)), reason_(reason) {}

  // A map with these keys and no others; all of `required` present. False (and the failure kept) otherwise.
  bool expect_map(const YamlNode& node, std::string_view what, const std::vector<std::string>& required,
                  const std::vector<std::string>& optional = {});
  bool expect_list(const YamlNode& node, std::string_view what);

  [[nodiscard]] static const YamlNode* find(const YamlNode& map, std::string_view key);  // null when absent

  double number(const YamlNode& node, std::string_view what);
  std::string text(const YamlNode& node, std::string_view what);  // not empty, one line, at most 200 characters
  bool yes_or_no(const YamlNode& node, std::string_view what);    // true or false
  // The index of the word in `known`; 0 after a failure.
  std::size_t one_of(const YamlNode& node, std::string_view what, const std::vector<std::string>& known);

  void fail(const YamlNode& node, const std::string& what, const std::string& what_to_do);
  [[nodiscard]] bool ok() const { return !failure_.has_value(); }
  [[nodiscard]] const Refusal& failure() const { return *failure_; }

 private:
  std::string name_;
  RefusalReason reason_;
  std::optional<Refusal> failure_;
};

}  // namespace rimwright
