// Any bytes as a settings file: read or refused. What is read lies within its limits.
#include <cstdint>
#include <cstdlib>
#include <string_view>
#include <type_traits>

#include "pipelines/read_settings.h"

extern "C" int LLVMFuzzerTestOneInput(const std::uint8_t* data, std::size_t size) {
  using namespace rimwright;
  auto settings = read_settings_text({reinterpret_cast<const char*>(data), size}, "settings.yaml");
  if (!settings) {
    if (settings.error().what.empty() || settings.error().what_to_do.empty()) std::abort();
    return 0;
  }
  const SettingsTable table(*settings);
  for (const SettingEntry& entry : table.entries()) {
    std::visit(
        [&](const auto* value) {
          if constexpr (std::is_arithmetic_v<std::remove_cvref_t<decltype(*value)>>) {
            const auto number = static_cast<double>(*value);
            if (!(number >= entry.least && number <= entry.most)) std::abort();
          }
        },
        entry.value);
  }
  if (!check_scale_target(settings->capture.photos.target)) std::abort();
  return 0;
}
