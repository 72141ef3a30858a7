#include "core/plain_array.h"

#include <gtest/gtest.h>

#include <cstdint>
#include <numeric>

namespace rimwright {
namespace {

TEST(PlainArray, KeepsWhatWasWrittenWhileItGrowsAndShrinks) {
  PlainArray<std::uint32_t> array;
  constexpr std::uint32_t most = 100'000;
  for (std::uint32_t i = 0; i < most; ++i) array.push_back(i);
  const PlainArray<std::uint32_t> copy = array;
  array.resize(1000);
  array.shrink_to_fit();
  array.resize(most);  // what this adds holds nothing in particular
  std::iota(array.begin() + 1000, array.end(), 1000U);
  EXPECT_EQ(array, copy);
  for (std::uint32_t i = 0; i < most; ++i) ASSERT_EQ(array[i], i);
}

TEST(PlainArray, GivesTheValuesThatAreAskedFor) {
  PlainArray<float> array(1000, 2.5F);
  array.resize(2000, 1.5F);
  array.assign(array.begin() + 500, array.end());
  for (std::size_t i = 0; i < array.size(); ++i) ASSERT_EQ(array[i], i < 500 ? 2.5F : 1.5F);
}

}  // namespace
}  // namespace rimwright
