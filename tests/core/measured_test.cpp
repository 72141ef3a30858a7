#include "core/measured.h"

#include <gtest/gtest.h>

#include <limits>

namespace rimwright {
namespace {

// JCGM 100:2008, table G.2, column 95 %; printed to two decimals, so half a unit of the last digit.
TEST(CoverageFactor95, AgreesWithTheGumTable) {
  constexpr double half_last_digit = 0.005;
  EXPECT_NEAR(coverage_factor_95(1), 12.71, half_last_digit);
  EXPECT_NEAR(coverage_factor_95(4), 2.78, half_last_digit);
  EXPECT_NEAR(coverage_factor_95(10), 2.23, half_last_digit);
  EXPECT_NEAR(coverage_factor_95(20), 2.09, half_last_digit);
  EXPECT_NEAR(coverage_factor_95(50), 2.01, half_last_digit);
  EXPECT_NEAR(coverage_factor_95(std::numeric_limits<double>::infinity()), 1.960, half_last_digit);
}

TEST(Measured, BeginsAsNotMeasured) {
  const Measured nothing;
  EXPECT_FALSE(nothing.is_measured());
  EXPECT_NE(nothing.u95(), nothing.u95());  // NaN
}

TEST(Measured, CombinesSourcesByRootSumOfSquares) {
  Measured length;
  length.value = 6.0;
  length.u(UncertaintySource::point_noise) = 0.03;
  length.u(UncertaintySource::scale) = 0.04;
  EXPECT_DOUBLE_EQ(length.combined_u(), 0.05);
  EXPECT_EQ(length.largest_source(), UncertaintySource::scale);
  EXPECT_NEAR(length.u95(), 0.05 * 1.959964, 1e-7);
}

}  // namespace
}  // namespace rimwright
