#include "plan/derive_steps.h"

#include <gtest/gtest.h>

#include <random>

namespace rimwright {
namespace {

// By hand, common practice, no source: binding 1.8 x 6.0 and line 0.6 x 1.8, glue 0.05, proud 0.2:
// widths 1.8 + 0.05 = 1.85 and 1.85 + 0.65 = 2.5; depths 6.0 + 0.05 - 0.2 = 5.85 and 1.8 + 0.05 - 0.2 = 1.65.
TEST(DeriveSteps, TwoHeightsMakeTwoSteps) {
  const auto steps = derive_steps({{"binding", 1.8, 6.0}, {"line", 0.6, 1.8}}, 0.05, 0.2);
  ASSERT_EQ(steps.size(), 2u);
  EXPECT_NEAR(steps[0].width_mm, 1.85, 1e-12);
  EXPECT_NEAR(steps[0].depth_mm, 5.85, 1e-12);
  EXPECT_NEAR(steps[1].width_mm, 2.50, 1e-12);
  EXPECT_NEAR(steps[1].depth_mm, 1.65, 1e-12);
  EXPECT_EQ(steps[0].first_strip, 0u);
  EXPECT_EQ(steps[0].last_strip, 0u);
  EXPECT_EQ(steps[1].first_strip, 1u);
  EXPECT_EQ(steps[1].last_strip, 1u);
}

// By hand: strips of 0.6, 0.5 and 1.0 all 2 mm high and one of 0.4 at 1.5, glue 0.1, proud 0:
// widths 0.7 + 0.6 + 1.1 = 2.4 and 2.9; depths 2.1 and 1.6.
TEST(DeriveSteps, StripsOfOneHeightShareAStep) {
  const auto steps = derive_steps({{"a", 0.6, 2.0}, {"b", 0.5, 2.0}, {"c", 1.0, 2.0}, {"d", 0.4, 1.5}}, 0.1, 0.0);
  ASSERT_EQ(steps.size(), 2u);
  EXPECT_NEAR(steps[0].width_mm, 2.4, 1e-12);
  EXPECT_EQ(steps[0].last_strip, 2u);
  EXPECT_NEAR(steps[1].width_mm, 2.9, 1e-12);
  EXPECT_NEAR(steps[1].depth_mm, 1.6, 1e-12);
}

TEST(DeriveSteps, HeightsWithinAMicrometreAreOne) {
  EXPECT_EQ(derive_steps({{"a", 1.0, 2.0}, {"b", 1.0, 1.9995}}, 0.05, 0.2).size(), 1u);
  EXPECT_EQ(derive_steps({{"a", 1.0, 2.0}, {"b", 1.0, 1.9985}}, 0.05, 0.2).size(), 2u);
}

// For any stack that gets shallower inwards: every strip belongs to exactly one step, widths rise, depths fall.
TEST(DeriveSteps, StepsPartitionTheStack) {
  constexpr unsigned seed = 20261125;
  SCOPED_TRACE("seed " + std::to_string(seed));
  std::mt19937 random(seed);
  std::uniform_real_distribution<double> thickness(0.3, 2.5);
  std::uniform_int_distribution<int> count(1, 8), drop_in_height(0, 1);
  for (int trial = 0; trial < 500; ++trial) {
    std::vector<Strip> strips;
    double height_mm = 8.0, sum_mm = 0.0;
    const int strip_count = count(random);
    for (int i = 0; i < strip_count; ++i) {
      strips.push_back({"s", thickness(random), height_mm});
      sum_mm += strips.back().thickness_mm + 0.05;
      if (drop_in_height(random) == 1) height_mm -= 0.5;
    }
    const auto steps = derive_steps(strips, 0.05, 0.2);
    std::size_t next = 0;
    for (std::size_t k = 0; k < steps.size(); ++k) {
      EXPECT_EQ(steps[k].first_strip, next);
      next = steps[k].last_strip + 1;
      if (k > 0) {
        EXPECT_GT(steps[k].width_mm, steps[k - 1].width_mm);
        EXPECT_LT(steps[k].depth_mm, steps[k - 1].depth_mm);
      }
    }
    EXPECT_EQ(next, strips.size());
    EXPECT_NEAR(steps.back().width_mm, sum_mm, 1e-9);
  }
}

}  // namespace
}  // namespace rimwright
