#include "capture/photos/work_folder.h"

#include <openssl/evp.h>

#include <algorithm>
#include <array>
#include <cstring>
#include <fstream>

#include "core/write_whole.h"

namespace rimwright {
namespace {

namespace fs = std::filesystem;

// Raised whenever what is kept, or what it means, changes.
constexpr std::string_view mark = "rimwright work 3\n";
constexpr std::size_t digest_digits = 64;
constexpr std::array<std::string_view, 3> kinds{"features", "cameras", "surface"};
// A file: the mark, the digest of the key, the digest of the rest, the rest.
constexpr std::uint64_t head = mark.size() + 2 * digest_digits;

}  // namespace

std::string digest_of(std::string_view bytes) {
  std::array<unsigned char, EVP_MAX_MD_SIZE> digest{};
  unsigned int length = 0;
  EVP_Digest(bytes.data(), bytes.size(), digest.data(), &length, EVP_sha256(), nullptr);
  constexpr std::string_view digits = "0123456789abcdef";
  std::string text;
  for (unsigned int i = 0; i < length; ++i) {
    text += digits[digest[i] >> 4];
    text += digits[digest[i] & 15];
  }
  return text;
}

fs::path WorkFolder::path_of(const std::string& kind, const std::string& key) const {
  return folder_ / (kind + "-" + digest_of(key).substr(0, 20) + ".work");
}

std::optional<std::string> WorkFolder::find(const std::string& kind, const std::string& key) {
  if (folder_.empty()) return std::nullopt;
  const fs::path path = path_of(kind, key);
  std::error_code error;
  if (!fs::is_regular_file(fs::symlink_status(path, error))) return std::nullopt;
  const std::uint64_t size = fs::file_size(path, error);
  if (error || size < head || size > most_bytes_) return ++damaged_, std::nullopt;
  std::string bytes(size, '\0');
  std::ifstream file(path, std::ios::binary);
  file.read(bytes.data(), static_cast<std::streamsize>(size));
  const std::string_view whole = bytes;
  if (!file || whole.substr(0, mark.size()) != mark || whole.substr(mark.size(), digest_digits) != digest_of(key) ||
      whole.substr(mark.size() + digest_digits, digest_digits) != digest_of(whole.substr(head))) {
    return ++damaged_, std::nullopt;
  }
  used_.push_back(path);
  return bytes.substr(head);
}

void WorkFolder::keep(const std::string& kind, const std::string& key, std::string bytes) {
  if (!folder_.empty() && head + bytes.size() <= most_bytes_)
    pending_.push_back({path_of(kind, key), digest_of(key), std::move(bytes)});
}

void WorkFolder::write() {
  std::error_code error;
  if (!pending_.empty()) fs::create_directories(folder_, error);
  for (const Pending& pending : pending_) {
    if (error) break;
    // Kept work is a convenience: where it cannot be written, the next run does it again.
    if (!write_whole(pending.path.string(), std::string(mark) + pending.key + digest_of(pending.bytes) + pending.bytes))
      break;
    used_.push_back(pending.path);
  }
  pending_.clear();
}

void WorkFolder::remove_unused() const {
  if (folder_.empty()) return;
  std::error_code error;
  std::vector<fs::path> unused;
  for (fs::directory_iterator entry(folder_, error), end; !error && entry != end; entry.increment(error)) {
    const std::string name = entry->path().filename().string();
    const bool is_ours = std::any_of(kinds.begin(), kinds.end(), [&](std::string_view kind) {
      return name.starts_with(std::string(kind) + "-") && name.ends_with(".work");
    });
    if (is_ours && std::find(used_.begin(), used_.end(), entry->path()) == used_.end()) {
      unused.push_back(entry->path());
    }
  }
  for (const fs::path& path : unused) fs::remove(path, error);
}

}  // namespace rimwright
