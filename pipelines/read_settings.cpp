#include "pipelines/read_settings.h"

#include <algorithm>
#include <cmath>
#include <limits>
#include <map>
#include <type_traits>

#include "capture/scale_target.h"
#include "plan/yaml_reader.h"

namespace rimwright {
namespace {

class SettingsReading {
 public:
  SettingsReading(std::string_view name, const SettingsTable& table)
      : yaml_(std::string(name), RefusalReason::settings_not_valid), table_(table) {}

  // Into the settings the table points to.
  Outcome<void> read(const YamlNode& root) {
    read_group(root, "");
    check_orders();
    if (!yaml_.ok()) return tl::unexpected<Refusal>(yaml_.failure());
    return {};
  }

 private:
  void read_group(const YamlNode& node, const std::string& prefix) {
    const std::string what = prefix.empty() ? "the settings" : prefix.substr(0, prefix.size() - 1);
    if (!yaml_.expect_map(node, what, {}, keys_below(prefix))) return;
    for (std::size_t i = 0; i < node.keys.size() && yaml_.ok(); ++i) {
      const std::string key = prefix + node.keys[i].scalar;
      if (const SettingEntry* entry = table_.find(key)) {
        std::visit([&](auto* value) { take(node.items[i], *entry, *value); }, entry->value);
        given_[entry] = &node.items[i];
      } else {
        read_group(node.items[i], key + ".");
      }
    }
  }

  [[nodiscard]] std::vector<std::string> keys_below(const std::string& prefix) const {
    std::vector<std::string> keys;
    for (const SettingEntry& entry : table_.entries()) {
      if (!entry.key.starts_with(prefix)) continue;
      const std::string rest = entry.key.substr(prefix.size());
      const std::string next = rest.substr(0, rest.find('.'));
      if (std::find(keys.begin(), keys.end(), next) == keys.end()) keys.push_back(next);
    }
    return keys;
  }

  template <class Value>
  void take(const YamlNode& node, const SettingEntry& entry, Value& value) {
    if constexpr (std::is_same_v<Value, bool>) {
      value = yaml_.yes_or_no(node, entry.key);
    } else if constexpr (std::is_same_v<Value, std::string>) {
      value = yaml_.text(node, entry.key);
    } else {
      const double number = yaml_.number(node, entry.key);
      if (!yaml_.ok()) return;
      if (std::is_integral_v<Value> && number != std::floor(number)) {
        yaml_.fail(node, entry.key + " must be a whole number, not " + shown_safely(node.scalar),
                   "leave the decimals out");
      } else if (number < entry.least || number > entry.most) {
        yaml_.fail(node, entry.key + " is " + shown_safely(node.scalar),
                   "it must lie between " + digits(entry.least) + " and " + digits(entry.most));
      } else {
        value = static_cast<Value>(number);
      }
    }
  }

  // A number of the table's limits; none has more than four decimals or needs an exponent.
  static std::string digits(double value) {
    SettingEntry entry;
    entry.value = &value;
    return value == std::floor(value) ? std::to_string(static_cast<long long>(value)) : value_text(entry);
  }

  static double number_of(const SettingEntry& entry) {
    return std::visit(
        [](const auto* value) -> double {
          if constexpr (std::is_arithmetic_v<std::remove_cvref_t<decltype(*value)>>) {
            return static_cast<double>(*value);
          } else {
            return std::numeric_limits<double>::quiet_NaN();
          }
        },
        entry.value);
  }

  void check_orders() {
    for (const SettingOrder& order : table_.orders()) {
      const SettingEntry *smaller = table_.find(order.smaller), *larger = table_.find(order.larger);
      if (!yaml_.ok() || number_of(*smaller) <= number_of(*larger)) continue;
      const auto place = given_.contains(smaller) ? given_.find(smaller) : given_.find(larger);
      yaml_.fail(*place->second,
                 smaller->key + " is " + value_text(*smaller) + ", more than " + larger->key + ", which is " +
                     value_text(*larger),
                 "make it the smaller of the two");
    }
  }

  YamlReader yaml_;
  const SettingsTable& table_;
  std::map<const SettingEntry*, const YamlNode*> given_;
};

Outcome<AllSettings> read_tree(const Outcome<YamlNode>& tree, std::string_view name) {
  if (!tree) return tl::unexpected<Refusal>(tree.error());
  AllSettings settings;
  const SettingsTable table(settings);
  if (const auto read = SettingsReading(name, table).read(*tree); !read) return tl::unexpected(read.error());
  if (const auto board = check_scale_target(settings.capture.photos.target); !board) {
    return refuse(RefusalReason::settings_not_valid, std::string(name) + ": photos.target: " + board.error().what,
                  board.error().what_to_do);
  }
  const MeasureRimSettings& measure = settings.inspect.measure;
  settings.capture.file.find_rim = {measure.gather, measure.orient, measure.outline, measure.unroll};
  return settings;
}

}  // namespace

Outcome<AllSettings> read_settings(const std::string& path) {
  return read_tree(read_strict_yaml(path, RefusalReason::settings_not_valid), path);
}

Outcome<AllSettings> read_settings_text(std::string_view text, std::string_view name) {
  return read_tree(parse_strict_yaml(text, name, RefusalReason::settings_not_valid), name);
}

std::vector<std::pair<std::string, std::string>> changed_settings(const AllSettings& settings) {
  AllSettings given = settings, defaults;
  const SettingsTable given_table(given), default_table(defaults);
  std::vector<std::pair<std::string, std::string>> changed;
  for (std::size_t i = 0; i < given_table.entries().size(); ++i) {
    const SettingEntry& entry = given_table.entries()[i];
    const std::string text = value_text(entry);
    if (text != value_text(default_table.entries()[i])) changed.emplace_back(entry.key, text);
  }
  return changed;
}

}  // namespace rimwright
