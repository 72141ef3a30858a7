// YAML as a plain tree, read strictly: every node knows its line and column, and what a plan never needs (anchors,
// aliases, tags, several documents, repeated keys, deep nesting) is refused instead of interpreted.
//
// Why a tree of our own over the parser's events: an alias can then never be expanded, and the number and depth of
// nodes are counted while they arrive.
#pragma once

#include <cstddef>
#include <string>
#include <string_view>
#include <vector>

#include "core/refusal.h"

namespace rimwright {

struct YamlLimits {
  std::size_t bytes = std::size_t{64} * 1024;  // a generous plan is 4 KiB
  std::size_t nodes = 5000;
  int depth = 12;  // a plan needs 6
};

struct YamlNode {
  enum class Kind { nothing, scalar, list, map };
  Kind kind = Kind::nothing;
  std::string scalar;
  bool quoted = false;          // "6" is text, 6 is a number
  std::vector<YamlNode> items;  // of a list; of a map: the values, in the order of keys
  std::vector<YamlNode> keys;   // of a map
  int line = 1, column = 1;     // where it starts, counted from 1
};

// Parses one document. `name` stands for the source in messages (a file name); `reason` is the reason refusals give.
[[nodiscard]] Outcome<YamlNode> parse_strict_yaml(std::string_view text, std::string_view name, RefusalReason reason,
                                                  const YamlLimits& limits = {});

// Reads a whole file, no larger than limits.bytes, and parses it.
[[nodiscard]] Outcome<YamlNode> read_strict_yaml(const std::string& path, RefusalReason reason,
                                                 const YamlLimits& limits = {});

// "plan.yaml line 3, column 7: ", the beginning of every message about a place in a file.
[[nodiscard]] std::string place_in_file(std::string_view name, int line, int column);

// What a file holds, for messages: quoted, shortened, without anything a terminal would act on.
[[nodiscard]] std::string shown_safely(std::string_view text);

}  // namespace rimwright
