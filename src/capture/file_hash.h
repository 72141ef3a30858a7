// The SHA-256 of a scan file, found for the most part while the file is read.
//
// Then its bytes are near: to hash them later they have to be copied from the system once more. But a hash takes longer
// than reading, and its bytes come one after the other. So readers take the file's chunks from the front, whoever finds
// the next one there and nobody at it hashes it, and as soon as the front is too far ahead of the hash they go on from
// the back, where nothing is hashed. Nobody waits. What is left is hashed from the file, beside later work.
#pragma once

#include <cstddef>
#include <cstdint>
#include <filesystem>
#include <mutex>
#include <string>
#include <utility>
#include <vector>

#include "core/sha256.h"

namespace rimwright {

class FileHash {
 public:
  explicit FileHash(std::filesystem::path path) : path_(std::move(path)) {}

  // Chunks of one size, but for the last, from a place near the file's beginning on. True once: the first reader of
  // several hashes.
  [[nodiscard]] bool begin_chunks(std::uint64_t offset, std::size_t chunk_bytes, std::size_t chunk_count);

  // What a reader is to read next: to be called once a chunk, by any thread.
  struct Share {
    std::size_t chunk = 0;
    char* room = nullptr;  // for its bytes; none where they will not be hashed now
  };
  [[nodiscard]] Share next_share();
  // The share's bytes, so many of them, are in its room, which must not be touched any more. Hashes what is next and
  // there, as long as there is something left to read.
  void bring(const Share& share, std::size_t bytes);

  // When nobody reads any more: hashes what is left. Lower-case hexadecimal; empty where the file cannot be read or is
  // a folder.
  [[nodiscard]] std::string finished();

 private:
  struct Room {
    std::vector<char> bytes;
    std::size_t count = 0;
    bool is_full = false;
  };
  [[nodiscard]] Room& room(std::size_t chunk) { return rooms_[chunk % rooms_.size()]; }
  [[nodiscard]] bool hash_next(std::unique_lock<std::mutex>& lock);

  std::filesystem::path path_;
  Sha256 hash_;
  std::mutex mutex_;
  std::vector<Room> rooms_;
  std::uint64_t hashed_bytes_ = 0;                 // of the file
  std::size_t hashed_ = 0, front_ = 0, back_ = 0;  // chunks hashed; those before front and from back on are shared out
  bool is_hashing_ = false;
};

}  // namespace rimwright
