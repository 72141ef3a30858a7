// That a loop for wide vectors rounds each product and each sum by itself, as any other machine does.
#include "core/wide_loops.h"

#include <gtest/gtest.h>

#include <cstddef>
#include <random>
#include <vector>

namespace rimwright {
namespace {

RIMWRIGHT_WIDE_LOOPS
void work_through(std::size_t count, const float* a, const float* b, float* sums, float* quotients) {
  for (std::size_t i = 0; i < count; ++i) {
    sums[i] = a[i] * b[i] + a[i];
    quotients[i] = a[i] / (1.0F - a[i] * b[i]);
  }
}

TEST(WideLoops, SameBitsAsOneByOne) {
  constexpr unsigned seed = 5;
  std::mt19937 random(seed);
  std::uniform_real_distribution<float> number(-3.0F, 3.0F);
  const std::size_t count = 100'003;  // the last few fill no vector
  std::vector<float> a(count), b(count), sums(count), quotients(count);
  for (std::size_t i = 0; i < count; ++i) a[i] = number(random), b[i] = number(random);
  work_through(count, a.data(), b.data(), sums.data(), quotients.data());
  for (std::size_t i = 0; i < count; ++i) {
    const volatile float product = a[i] * b[i];  // stored, so rounded
    const volatile float difference = 1.0F - product;
    ASSERT_EQ(sums[i], product + a[i]) << "number " << i << ", seed " << seed;
    ASSERT_EQ(quotients[i], a[i] / difference) << "number " << i << ", seed " << seed;
  }
}

}  // namespace
}  // namespace rimwright
