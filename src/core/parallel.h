// The one file that owns threads.
//
// Work is cut into fixed chunks that do not depend on the number of threads, and each chunk writes only its own
// results, so answers are identical for 1 and N threads. Sums over chunks are the caller's, in chunk order.
#pragma once

#include <cstddef>
#include <functional>
#include <memory>
#include <vector>

namespace rimwright {

// A pool of threads; one per run of the program, handed down by reference. `threads` = 0 means all cores.
class Workers {
 public:
  explicit Workers(std::size_t threads = 0);
  ~Workers();
  Workers(const Workers&) = delete;
  Workers& operator=(const Workers&) = delete;

  [[nodiscard]] std::size_t thread_count() const;

  // Calls body(begin, end, chunk) for consecutive ranges of at most chunk_size items covering [0, count). Returns
  // when all are done. An exception in a body is rethrown here after the other chunks have finished. Not to be
  // called from inside a body.
  void for_chunks(std::size_t count, std::size_t chunk_size,
                  const std::function<void(std::size_t begin, std::size_t end, std::size_t chunk)>& body);

  // Does each of a few tasks once, side by side as far as there are threads; the longest are best named first.
  // Otherwise as for_chunks.
  void do_all(const std::vector<std::function<void()>>& tasks);

  // Gives `work` to a thread of the pool that has nothing to do, so that it goes on beside the caller's own; with one
  // thread it is done in finish_beside. One at a time: what was begun before is finished first. `work` must not use
  // this pool.
  void begin_beside(std::function<void()> work);
  // Returns when what was begun is done; an exception in it is rethrown here. Nothing begun: returns at once.
  void finish_beside();

 private:
  struct State;
  std::unique_ptr<State> state_;
};

// Calls body(i) for every i of [0, count), each on a thread of its own: for a few things that wait, as for a disk, and
// hardly compute. Returns when all are done. A body must not throw.
void all_at_once(std::size_t count, const std::function<void(std::size_t i)>& body);

}  // namespace rimwright
