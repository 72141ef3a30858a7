// SHA-256 of a file, so that a report can say which input it speaks of.
#pragma once

#include <filesystem>
#include <string>

namespace rimwright {

// Lower-case hexadecimal; empty where the file cannot be read or is a folder.
[[nodiscard]] std::string sha256_of(const std::filesystem::path& path);

}  // namespace rimwright
