// Which key of a settings file belongs to which member of which stage's settings, and how far each may be moved.
//
// One line a setting. Reading, writing, comparing with the defaults and the tests all go through this table, so a
// setting that is missing here is missing everywhere; the tests count the members of every struct against it.
#pragma once

#include <cstddef>
#include <cstdint>
#include <string>
#include <string_view>
#include <variant>
#include <vector>

#include "pipelines/cloud_from_scan.h"
#include "pipelines/inspect_scan.h"

namespace rimwright {

// The settings of every stage. What the command line says (unit, bar, progress) is left to it.
struct AllSettings {
  CloudFromScanSettings capture;
  InspectSettings inspect;
};

struct SettingEntry {
  std::string key;  // "rim.unroll.inside_mm"
  std::variant<double*, int*, std::uint64_t*, bool*, std::string*> value;
  double least = 0.0, most = 0.0;  // both allowed; of numbers only
};

// A struct of settings and how many of its members the table does not bind as settings of their own.
struct SettingGroup {
  std::string key;  // "rim.unroll"
  const void* place = nullptr;
  std::size_t bytes = 0;
  std::size_t members = 0;      // as the compiler counts them
  std::size_t not_entries = 0;  // of these: structs with a group of their own, and what the command line says
};

// Two settings of which the first may not exceed the second.
struct SettingOrder {
  const void *smaller = nullptr, *larger = nullptr;
};

class SettingsTable {
 public:
  // Points into `settings`, which must outlive the table.
  explicit SettingsTable(AllSettings& settings);

  [[nodiscard]] const std::vector<SettingEntry>& entries() const& { return entries_; }
  [[nodiscard]] const std::vector<SettingGroup>& groups() const& { return groups_; }
  [[nodiscard]] const std::vector<SettingOrder>& orders() const& { return orders_; }
  [[nodiscard]] const SettingEntry* find(std::string_view key) const;
  [[nodiscard]] const SettingEntry* find(const void* member) const;

  // For the stages' lists; begins a group, to which the following entries belong.
  void begin_group(SettingGroup group);
  template <class Value>
  void add(std::string_view name, Value& value, double least, double most) {
    entries_.push_back({groups_.back().key + "." + std::string(name), &value, least, most});
  }
  void in_order(const void* smaller, const void* larger) { orders_.push_back({smaller, larger}); }

 private:
  std::vector<SettingEntry> entries_;
  std::vector<SettingGroup> groups_;
  std::vector<SettingOrder> orders_;
};

// The lists themselves, one for each way in and one for the rest.
void list_file_settings(CloudFromFileSettings& settings, SettingsTable& table);
void list_depth_settings(DepthSettings& settings, SettingsTable& table);
void list_photo_settings(PhotoSettings& settings, SettingsTable& table);
void list_inspect_settings(InspectSettings& settings, SettingsTable& table);

// As it would be written in a settings file: "0.35", "true", "5X5_100".
[[nodiscard]] std::string value_text(const SettingEntry& entry);

}  // namespace rimwright
