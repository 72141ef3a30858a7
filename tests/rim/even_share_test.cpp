#include "rim/even_share.h"

#include <gtest/gtest.h>

#include <vector>

namespace rimwright {
namespace {

std::vector<std::size_t> points_of(const EvenShare& share) {
  std::vector<std::size_t> points;
  for (std::size_t nth = 0; nth < share.size(); ++nth) points.push_back(share[nth]);
  return points;
}

// Against walking through all points: those of the first sixteen of every sixteen times `every`.
TEST(EvenShare, IsRunsOfSixteen) {
  for (const std::size_t every : {1U, 2U, 3U, 7U, 40U})
    for (const std::size_t begin : {0U, 5U, 1000U})
      for (std::size_t count = 0; count < 400; ++count) {
        std::vector<std::size_t> expected;
        for (std::size_t i = 0; i < count; ++i)
          if (i % (16 * every) < 16) expected.push_back(begin + i);
        ASSERT_EQ(points_of({begin, begin + count, every}), expected) << every << ' ' << count;
      }
  EXPECT_EQ(points_of({3, 40, 1}).size(), 37U);
}

}  // namespace
}  // namespace rimwright
