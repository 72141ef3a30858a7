// The median against sorting.
#include "core/median.h"

#include <gtest/gtest.h>

#include <cstdint>
#include <random>

namespace rimwright {
namespace {

TEST(Median, IsTheMiddleOfTheSorted) {
  std::mt19937 random(20261125);
  for (std::size_t count = 1; count < 60; ++count) {
    std::vector<double> values(count);
    for (double& value : values) value = std::uniform_int_distribution<int>(-20, 20)(random);
    std::vector<double> sorted = values;
    std::sort(sorted.begin(), sorted.end());
    EXPECT_EQ(median_of(values), sorted[count / 2]) << count;
  }
}

TEST(Median, OfAnEvenCountIsTheUpperOfTheTwo) { EXPECT_EQ(median_of(std::vector<double>{4.0, 1.0, 3.0, 2.0}), 3.0); }

TEST(Median, OfNoneIsZero) { EXPECT_EQ(median_of(std::vector<std::uint16_t>{}), 0); }

}  // namespace
}  // namespace rimwright
