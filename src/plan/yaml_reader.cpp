#include "plan/yaml_reader.h"

#include <algorithm>
#include <charconv>
#include <cmath>

#include "core/safe_text.h"

namespace rimwright {
namespace {

// Optimal string alignment distance: insertions, deletions, changes and swaps of neighbours each count one.
std::size_t edit_distance(std::string_view a, std::string_view b) {
  std::vector<std::vector<std::size_t>> d(a.size() + 1, std::vector<std::size_t>(b.size() + 1));
  for (std::size_t i = 0; i <= a.size(); ++i) d[i][0] = i;
  for (std::size_t j = 0; j <= b.size(); ++j) d[0][j] = j;
  for (std::size_t i = 1; i <= a.size(); ++i) {
    for (std::size_t j = 1; j <= b.size(); ++j) {
      const std::size_t change = a[i - 1] == b[j - 1] ? 0 : 1;
      d[i][j] = std::min({d[i - 1][j] + 1, d[i][j - 1] + 1, d[i - 1][j - 1] + change});
      if (i > 1 && j > 1 && a[i - 1] == b[j - 2] && a[i - 2] == b[j - 1]) {
        d[i][j] = std::min(d[i][j], d[i - 2][j - 2] + 1);
      }
    }
  }
  return d[a.size()][b.size()];
}

std::string list_words(const std::vector<std::string>& words) {
  std::string out;
  for (const std::string& word : words) out += (out.empty() ? "" : ", ") + word;
  return out;
}

}  // namespace

std::optional<std::string> nearest_word(std::string_view word, const std::vector<std::string>& known) {
  constexpr std::size_t longest_compared = 64;
  const std::string_view compared = word.substr(0, longest_compared);
  const std::string* best = nullptr;
  std::size_t best_distance = 0;
  for (const std::string& candidate : known) {
    const std::size_t distance = edit_distance(compared, candidate);
    if (best == nullptr || distance < best_distance) {
      best = &candidate;
      best_distance = distance;
    }
  }
  if (best == nullptr || best_distance > std::max<std::size_t>(2, best->size() / 2)) return std::nullopt;
  return *best;
}

bool YamlReader::expect_map(const YamlNode& node, std::string_view what, const std::vector<std::string>& required,
                            const std::vector<std::string>& optional) {
  if (!ok()) return false;
  std::vector<std::string> known = required;
  known.insert(known.end(), optional.begin(), optional.end());
  if (node.kind != YamlNode::Kind::map) {
    fail(node, std::string(what) + " must be a group of keys", "give it these keys: " + list_words(known));
    return false;
  }
  for (const YamlNode& key : node.keys) {
    if (key.kind != YamlNode::Kind::scalar) {
      fail(key, "a key of " + std::string(what) + " must be a word", "use these keys: " + list_words(known));
      return false;
    }
    if (std::find(known.begin(), known.end(), key.scalar) != known.end()) continue;
    const std::optional<std::string> nearest = nearest_word(key.scalar, known);
    fail(key, "unknown key " + shown_safely(key.scalar) + " in " + std::string(what),
         nearest ? "write '" + *nearest + "' if that is meant" : "the known keys are: " + list_words(known));
    return false;
  }
  for (const std::string& key : required) {
    if (find(node, key) != nullptr) continue;
    fail(node, std::string(what) + " lacks the key '" + key + "'", "add it");
    return false;
  }
  return true;
}

bool YamlReader::expect_list(const YamlNode& node, std::string_view what) {
  if (!ok()) return false;
  if (node.kind == YamlNode::Kind::list) return true;
  fail(node, std::string(what) + " must be a list", "write each entry on a line of its own after '- '");
  return false;
}

const YamlNode* YamlReader::find(const YamlNode& map, std::string_view key) {
  for (std::size_t i = 0; i < map.keys.size() && i < map.items.size(); ++i) {
    if (map.keys[i].scalar == key) return &map.items[i];
  }
  return nullptr;
}

double YamlReader::number(const YamlNode& node, std::string_view what) {
  if (!ok()) return 0.0;
  double value = 0.0;
  std::string_view text = node.scalar;
  if (text.starts_with('+')) text.remove_prefix(1);
  const std::string_view digits = text.substr(text.starts_with('-') ? 1 : 0);
  if (digits.size() > 1 && digits[0] == '0' && digits[1] >= '0' && digits[1] <= '9') {
    // YAML 1.1 reads 0124 as octal, YAML 1.2 as 124.
    fail(node, std::string(what) + " is " + shown_safely(node.scalar), "write the number without a zero before it");
    return 0.0;
  }
  const auto [end, error] = std::from_chars(text.data(), text.data() + text.size(), value);
  if (node.kind != YamlNode::Kind::scalar || node.quoted || error != std::errc() || end != text.data() + text.size() ||
      !std::isfinite(value)) {
    const bool comma = node.scalar.find(',') != std::string::npos;
    fail(node,
         std::string(what) + " must be a number" +
             (node.kind == YamlNode::Kind::scalar ? ", not " + shown_safely(node.scalar) : std::string()),
         comma ? "write a decimal point, not a comma" : "write digits only, without a unit or quotes");
    return 0.0;
  }
  return value;
}

std::string YamlReader::text(const YamlNode& node, std::string_view what) {
  if (!ok()) return {};
  constexpr std::size_t longest = 200;
  if (node.kind != YamlNode::Kind::scalar || node.scalar.empty()) {
    fail(node, std::string(what) + " must be a short text on one line", "write a name");
  } else if (const std::string safe = safe_text(node.scalar, longest); safe != node.scalar) {
    fail(node, std::string(what) + " is longer than 200 characters or holds one that cannot be shown",
         "write a short name on one line, and save the file as UTF-8");
  }
  if (!ok()) return {};
  return node.scalar;
}

bool YamlReader::yes_or_no(const YamlNode& node, std::string_view what) {
  if (!ok()) return false;
  if (node.kind == YamlNode::Kind::scalar && !node.quoted) {
    if (node.scalar == "true") return true;
    if (node.scalar == "false") return false;
  }
  fail(node, std::string(what) + " must be true or false", "write true or false");
  return false;
}

std::size_t YamlReader::one_of(const YamlNode& node, std::string_view what, const std::vector<std::string>& known) {
  if (!ok()) return 0;
  if (node.kind == YamlNode::Kind::scalar) {
    const auto found = std::find(known.begin(), known.end(), node.scalar);
    if (found != known.end()) return static_cast<std::size_t>(found - known.begin());
  }
  const std::optional<std::string> nearest = nearest_word(node.scalar, known);
  fail(node, std::string(what) + " must be one of: " + list_words(known) + ", not " + shown_safely(node.scalar),
       nearest ? "write '" + *nearest + "' if that is meant" : "use one of those words");
  return 0;
}

void YamlReader::fail(const YamlNode& node, const std::string& what, const std::string& what_to_do) {
  if (failure_) return;
  failure_ = Refusal{reason_, place_in_file(name_, node.line, node.column) + what, what_to_do};
}

}  // namespace rimwright
