// Reads a small file (a plan, settings, a result) whole.
#pragma once

#include <cstddef>
#include <filesystem>
#include <string>

#include "core/refusal.h"

namespace rimwright {

// Only regular files are read: a folder, a pipe or a device is refused without waiting for it. No more than
// `most_bytes` is ever held, whatever the file says of its size. Refusals: file_not_found, file_not_readable,
// file_over_limit.
[[nodiscard]] Outcome<std::string> read_small_file(const std::filesystem::path& path, std::size_t most_bytes);

}  // namespace rimwright
