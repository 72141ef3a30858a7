// Files of known bytes for the reading tests.
#pragma once

#include <gtest/gtest.h>
#include <unistd.h>

#include <algorithm>
#include <atomic>
#include <cstddef>
#include <cstdint>
#include <cstring>
#include <filesystem>
#include <fstream>
#include <string>

#include "capture/read_cloud.h"

namespace rimwright::testing {

// A file that is there as long as this object.
class TemporaryFile {
 public:
  TemporaryFile(const std::string& name, const std::string& bytes) {
    static std::atomic<int> number{0};
    folder_ = std::filesystem::temp_directory_path() /
              ("rimwright-" + std::to_string(::getpid()) + "-" + std::to_string(number++));
    std::filesystem::create_directories(folder_);
    path_ = folder_ / name;
    std::ofstream(path_, std::ios::binary).write(bytes.data(), static_cast<std::streamsize>(bytes.size()));
  }
  ~TemporaryFile() {
    std::error_code ignored;
    std::filesystem::remove_all(folder_, ignored);
  }
  TemporaryFile(const TemporaryFile&) = delete;
  TemporaryFile& operator=(const TemporaryFile&) = delete;
  [[nodiscard]] const std::filesystem::path& path() const { return path_; }

 private:
  std::filesystem::path folder_, path_;
};

// The bytes of a value, little endian or the other way round.
template <class Value>
std::string bytes_of_value(Value value, bool big_endian = false) {
  std::string bytes(sizeof(Value), '\0');
  std::memcpy(bytes.data(), &value, sizeof(Value));
  if (big_endian) std::reverse(bytes.begin(), bytes.end());
  return bytes;
}

inline Outcome<ScanFile> read_bytes(const std::string& name, const std::string& bytes, std::size_t threads = 1,
                                    const ReadCloudSettings& settings = {}) {
  const TemporaryFile file(name, bytes);
  Workers workers(threads);
  return read_cloud(file.path(), settings, workers);
}

// Reads a file cut off behind every byte in turn and with every byte changed: any answer will do, as long as there is
// one. Returns how many truncations were not refused; text formats cannot always tell.
inline std::size_t count_accepted_truncations(const std::string& name, const std::string& bytes) {
  const TemporaryFile file(name, bytes);
  Workers workers(1);
  const auto read_changed = [&](const std::string& changed) {
    std::ofstream(file.path(), std::ios::binary | std::ios::trunc)
        .write(changed.data(), static_cast<std::streamsize>(changed.size()));
    const auto scan = read_cloud(file.path(), {}, workers);
    const bool explained = scan || !(scan.error().what.empty() || scan.error().what_to_do.empty());
    EXPECT_TRUE(explained);
    return scan.has_value();
  };
  std::size_t accepted = 0;
  for (std::size_t length = 0; length < bytes.size(); ++length)
    accepted += read_changed(bytes.substr(0, length)) ? 1 : 0;
  for (std::size_t at = 0; at < bytes.size(); ++at) {
    for (const int change : {0xff, 0x80, 0x01}) {
      std::string changed = bytes;
      changed[at] = static_cast<char>(changed[at] ^ change);
      read_changed(changed);
    }
  }
  return accepted;
}

}  // namespace rimwright::testing
