// Writes one file whole or not at all: aside, flushed to the disk, then renamed over any earlier one, which survives
// every failure and a kill at any moment. What is there already and is no file (a folder, a device) is refused.
#pragma once

#include <string>
#include <string_view>

#include "core/refusal.h"

namespace rimwright {

[[nodiscard]] Outcome<void> write_whole(const std::string& path, std::string_view bytes);

}  // namespace rimwright
