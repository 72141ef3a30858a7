// An even share of many points that lie one after the other.
#pragma once

#include <algorithm>
#include <cstddef>

namespace rimwright {

// One of `every` points of [begin, end), in runs of sixteen, which share a line of the processor's cache: single points
// would touch nearly all of memory for a few of its numbers.
class EvenShare {
 public:
  static constexpr std::size_t run = 16;  // points from the nth on lie one after the other where n is a multiple of it

  EvenShare(std::size_t begin, std::size_t end, std::size_t every) : begin_(begin), end_(end), every_(every) {}

  [[nodiscard]] std::size_t size() const {
    const std::size_t all = end_ - begin_, period = run * every_;
    return all / period * run + std::min(run, all % period);
  }
  [[nodiscard]] bool is_all() const { return every_ == 1; }
  [[nodiscard]] std::size_t operator[](std::size_t nth) const { return begin_ + nth / run * run * every_ + nth % run; }

 private:
  std::size_t begin_, end_, every_;
};

}  // namespace rimwright
