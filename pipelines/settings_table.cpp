#include "pipelines/settings_table.h"

#include <algorithm>
#include <array>
#include <charconv>
#include <type_traits>

namespace rimwright {

SettingsTable::SettingsTable(AllSettings& settings) {
  list_file_settings(settings.capture.file, *this);
  list_depth_settings(settings.capture.depth, *this);
  list_photo_settings(settings.capture.photos, *this);
  list_inspect_settings(settings.inspect, *this);
}

void SettingsTable::begin_group(SettingGroup group) { groups_.push_back(std::move(group)); }

const SettingEntry* SettingsTable::find(std::string_view key) const {
  const auto at = std::find_if(entries_.begin(), entries_.end(), [&](const auto& entry) { return entry.key == key; });
  return at == entries_.end() ? nullptr : &*at;
}

const SettingEntry* SettingsTable::find(const void* member) const {
  const auto at = std::find_if(entries_.begin(), entries_.end(), [&](const SettingEntry& entry) {
    return std::visit([&](const auto* value) { return static_cast<const void*>(value) == member; }, entry.value);
  });
  return at == entries_.end() ? nullptr : &*at;
}

std::string value_text(const SettingEntry& entry) {
  return std::visit(
      [](const auto* value) -> std::string {
        using Value = std::remove_cvref_t<decltype(*value)>;
        if constexpr (std::is_same_v<Value, std::string>) {
          return *value;
        } else if constexpr (std::is_same_v<Value, bool>) {
          return *value ? "true" : "false";
        } else {
          std::array<char, 40> text{};  // the shortest that reads back the same; a double needs 24
          const auto end = std::to_chars(text.data(), text.data() + text.size(), *value).ptr;
          return {text.data(), end};
        }
      },
      entry.value);
}

}  // namespace rimwright
