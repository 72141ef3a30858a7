// The settings file: any of the settings of any stage, by the keys of pipelines/settings.yaml, which lists them all
// with default, unit and reason. What a file does not name keeps its default; no file is needed.
#pragma once

#include <string>
#include <string_view>
#include <utility>
#include <vector>

#include "core/refusal.h"
#include "pipelines/settings_table.h"

namespace rimwright {

// Refuses (settings_not_valid) with line, column and what to do: an unknown key (the nearest known one is named), a
// wrong type, a number outside its limits, two settings in the wrong order, a board that cannot be made; and what
// read_strict_yaml refuses. At most 64 KiB and 5000 values, 12 deep.
[[nodiscard]] Outcome<AllSettings> read_settings(const std::string& path);

// The same from text; `name` stands for the file in messages.
[[nodiscard]] Outcome<AllSettings> read_settings_text(std::string_view text, std::string_view name);

// Those that differ from their defaults: key and value, in the order of the table.
[[nodiscard]] std::vector<std::pair<std::string, std::string>> changed_settings(const AllSettings& settings);

}  // namespace rimwright
