#include "capture/file_hash.h"

#include <algorithm>

#include "capture/file/bytes.h"

namespace rimwright {

namespace {

constexpr std::size_t room_count = 8;  // what is read ahead stays in the cache that the cores share

// Bytes [begin, end) of the file; false where they cannot be read.
bool hash_bytes(const FileBytes& file, std::uint64_t begin, std::uint64_t end, Sha256& hash) {
  std::vector<char> bytes(std::size_t{1} << 18);  // stays in a core's own cache between reading and hashing
  for (std::uint64_t at = begin; at < end; at += bytes.size()) {
    const auto count = static_cast<std::size_t>(std::min<std::uint64_t>(bytes.size(), end - at));
    if (!file.read_exactly(at, bytes.data(), count)) return false;
    hash.add(bytes.data(), count);
  }
  return true;
}

}  // namespace

bool FileHash::begin_chunks(std::uint64_t offset, std::size_t chunk_bytes, std::size_t chunk_count) {
  constexpr std::uint64_t longest_header = std::uint64_t{1} << 20;  // reading does not wait for more to be hashed
  const std::lock_guard lock(mutex_);
  if (!rooms_.empty() || offset > longest_header) return false;
  const auto file = FileBytes::open(path_);
  if (!file || !hash_bytes(*file, 0, offset, hash_)) {
    hash_ = {};
    return false;
  }
  rooms_.resize(room_count);
  for (Room& room : rooms_) room.bytes.resize(chunk_bytes);
  hashed_bytes_ = offset;
  back_ = chunk_count;
  return true;
}

FileHash::Share FileHash::next_share() {
  const std::lock_guard lock(mutex_);
  if (front_ >= hashed_ + rooms_.size()) return {--back_, nullptr};
  const std::size_t chunk = front_++;
  return {chunk, room(chunk).bytes.data()};
}

void FileHash::bring(const Share& share, std::size_t bytes) {
  if (share.room == nullptr) return;
  std::unique_lock lock(mutex_);
  room(share.chunk).count = bytes;
  room(share.chunk).is_full = true;
  while (front_ < back_ && hash_next(lock)) {
  }
}

// Called with the lock held; returns with it held. False where the next chunk is not there, or is being hashed.
bool FileHash::hash_next(std::unique_lock<std::mutex>& lock) {
  Room& next = room(hashed_);
  if (is_hashing_ || !next.is_full) return false;
  is_hashing_ = true;
  lock.unlock();
  hash_.add(next.bytes.data(), next.count);
  lock.lock();
  is_hashing_ = false;
  next.is_full = false;
  hashed_bytes_ += next.count;
  ++hashed_;
  return true;
}

std::string FileHash::finished() {
  std::unique_lock lock(mutex_);
  if (!rooms_.empty())
    while (hash_next(lock)) {
    }
  const auto file = FileBytes::open(path_);
  if (!file || !hash_bytes(*file, hashed_bytes_, file->size(), hash_)) return {};
  return hash_.hexadecimal();
}

}  // namespace rimwright
