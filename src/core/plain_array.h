// Arrays of a number a point: millions, each written once before it is read.
#pragma once

#include <memory>
#include <new>
#include <type_traits>
#include <utility>
#include <vector>

namespace rimwright {

// What resize() adds holds no particular value: zeros would only be written over, and writing them takes a
// twentieth of an inspection of ten million points.
template <class T>
class PlainAllocator : public std::allocator<T> {
 public:
  static_assert(std::is_trivial_v<T>);
  template <class U>
  struct rebind {
    using other = PlainAllocator<U>;
  };
  PlainAllocator() = default;
  template <class U>
  explicit(false) PlainAllocator(const PlainAllocator<U>&) {}

  template <class U>
  void construct(U* place) noexcept {
    ::new (static_cast<void*>(place)) U;
  }
  template <class U, class... Values>
  void construct(U* place, Values&&... values) {
    std::construct_at(place, std::forward<Values>(values)...);
  }
};

template <class T>
using PlainArray = std::vector<T, PlainAllocator<T>>;

}  // namespace rimwright
