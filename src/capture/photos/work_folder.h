// Intermediate results on disk, each under a key of everything it was made from. What is damaged, cut short or made by
// something else is not believed: it is made anew.
#pragma once

#include <cstdint>
#include <filesystem>
#include <optional>
#include <string>
#include <string_view>
#include <vector>

namespace rimwright {

class WorkFolder {
 public:
  // Of one file; those of 24 photos take megabytes.
  static constexpr std::uint64_t usual_most_bytes = std::uint64_t{1} << 30;

  // An empty path: nothing is kept. A file larger than `most_bytes` is neither kept nor believed.
  explicit WorkFolder(std::filesystem::path folder, std::uint64_t most_bytes = usual_most_bytes)
      : folder_(std::move(folder)), most_bytes_(most_bytes) {}

  // What was kept under this kind ("features", "cameras") and key; nothing if it is not there or not whole.
  [[nodiscard]] std::optional<std::string> find(const std::string& kind, const std::string& key);
  // Remembers it; `write` puts it on the disk.
  void keep(const std::string& kind, const std::string& key, std::string bytes);
  // Makes the folder where need be. Each file is written aside and renamed. A full disk loses the work, never a result.
  void write();
  // Removes kept files that this run neither found nor kept.
  void remove_unused() const;
  [[nodiscard]] std::size_t damaged() const { return damaged_; }

 private:
  [[nodiscard]] std::filesystem::path path_of(const std::string& kind, const std::string& key) const;

  std::filesystem::path folder_;
  std::uint64_t most_bytes_;
  std::vector<std::filesystem::path> used_;
  struct Pending {
    std::filesystem::path path;
    std::string key, bytes;
  };
  std::vector<Pending> pending_;
  std::size_t damaged_ = 0;
};

// SHA-256 of some bytes, as 64 hexadecimal digits.
[[nodiscard]] std::string digest_of(std::string_view bytes);

}  // namespace rimwright
