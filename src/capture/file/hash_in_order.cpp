#include "capture/file/hash_in_order.h"

namespace rimwright {

namespace {

constexpr std::size_t room_count = 8;  // what is read ahead stays in the cache that the cores share

}  // namespace

HashInOrder::HashInOrder(Sha256& hash, std::size_t most_bytes_a_chunk) : hash_(hash), rooms_(room_count) {
  for (Room& room : rooms_) room.bytes.resize(most_bytes_a_chunk);
}

char* HashInOrder::room_for(std::size_t chunk) {
  std::unique_lock lock(mutex_);
  while (chunk >= hashed_ + rooms_.size())
    if (!hash_next(lock)) room_free_.wait(lock);
  return room(chunk).bytes.data();
}

void HashInOrder::bring(std::size_t chunk, std::size_t bytes) {
  std::unique_lock lock(mutex_);
  room(chunk).count = bytes;
  room(chunk).is_full = true;
  while (hash_next(lock)) {
  }
}

// Called with the lock held; returns with it held. False where nothing is to be hashed here and now.
bool HashInOrder::hash_next(std::unique_lock<std::mutex>& lock) {
  Room& next = room(hashed_);
  if (is_hashing_ || !next.is_full) return false;
  is_hashing_ = true;
  lock.unlock();
  hash_.add(next.bytes.data(), next.count);
  lock.lock();
  is_hashing_ = false;
  next.is_full = false;
  ++hashed_;
  room_free_.notify_all();
  return true;
}

}  // namespace rimwright
