// How many members a plain struct has, found by the compiler: the most values it can be braced with.
//
// A struct of settings can so be checked against the table that reads them. It sees aggregates only, and counts a
// nested struct as one; it cannot tell which member is missing.
#pragma once

#include <cstddef>
#include <utility>

namespace rimwright {

struct AnyMember {  // stands for a value of whatever type a member has; never made
  template <class T>
  operator T() const;  // NOLINT: implicit by purpose
};

template <class Struct, std::size_t... I>
[[nodiscard]] consteval bool can_be_braced_with(std::index_sequence<I...>) {
  return requires { Struct{(static_cast<void>(I), AnyMember{})...}; };
}

template <class Struct, std::size_t count = 0>
[[nodiscard]] consteval std::size_t member_count() {
  if constexpr (can_be_braced_with<Struct>(std::make_index_sequence<count + 1>{})) {
    return member_count<Struct, count + 1>();
  } else {
    return count;
  }
}

}  // namespace rimwright
