// Hashes a file's chunks in their order, while several threads bring them in any.
//
// Reading is where the bytes are near: to hash them later they would have to be copied from the system once more, and
// what is hashed would be the file of that moment. One chunk is hashed at a time, by whichever thread finds the next
// one there and nobody at it; the others go on reading, as far ahead as there are rooms.
#pragma once

#include <condition_variable>
#include <cstddef>
#include <mutex>
#include <vector>

#include "core/sha256.h"

namespace rimwright {

class HashInOrder {
 public:
  HashInOrder(Sha256& hash, std::size_t most_bytes_a_chunk);

  // Room for the bytes of a chunk. Chunks are numbered from 0 and begun in that order, each once; whoever holds a room
  // must bring its chunk before asking for the next. Waits while too many chunks are ahead of the hash.
  [[nodiscard]] char* room_for(std::size_t chunk);
  // Its bytes are in the room, so many of them; the room must not be touched any more. Hashes what is next and there.
  void bring(std::size_t chunk, std::size_t bytes);

 private:
  struct Room {
    std::vector<char> bytes;
    std::size_t count = 0;
    bool is_full = false;
  };
  [[nodiscard]] Room& room(std::size_t chunk) { return rooms_[chunk % rooms_.size()]; }
  [[nodiscard]] bool hash_next(std::unique_lock<std::mutex>& lock);

  Sha256& hash_;
  std::mutex mutex_;
  std::condition_variable room_free_;
  std::vector<Room> rooms_;
  std::size_t hashed_ = 0;  // chunks
  bool is_hashing_ = false;
};

}  // namespace rimwright
