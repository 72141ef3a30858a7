// The median, as used throughout for usual sizes and spreads.
#pragma once

#include <algorithm>
#include <cstddef>
#include <vector>

namespace rimwright {

// The middle value; of an even count the upper of the two in the middle (a value that occurs, where their mean need
// not); 0 of none. No value may be NaN.
template <class Number>
[[nodiscard]] Number median_of(std::vector<Number> values) {
  if (values.empty()) return Number{};
  const auto middle = values.begin() + static_cast<std::ptrdiff_t>(values.size() / 2);
  std::nth_element(values.begin(), middle, values.end());
  return *middle;
}

}  // namespace rimwright
