// Pits of known depth in a bevel made by hand, and what is no pit.
#include "measure/find_torn.h"

#include <gtest/gtest.h>

#include <cmath>
#include <numbers>

#include "measured_bevel.h"

namespace rimwright {
namespace {

constexpr double length_mm = 120.0, drop_mm = 14.0, angle_deg = 124.0, noise_mm = 0.03, density = 20.0;
constexpr unsigned seed = 5;

// A raised-cosine bump of that height, half_mm to each side of (60, middle of the face).
std::vector<TornPlace> torn_with_bump(double height_mm, double half_along_mm, double half_across_mm) {
  const auto profile = [](double) { return test::bevelled_profile(drop_mm, angle_deg); };
  const double width = (profile(0.0)[2] - profile(0.0)[1]).norm();
  test::MeasuredBevel made;
  made.rim = test::made_rim(length_mm, profile, density, noise_mm, seed, [&](double s, std::size_t facet, double t) {
    const double x = (s - 60.0) / half_along_mm, y = (t - 0.5 * width) / half_across_mm;
    if (facet != 1 || std::abs(x) > 1.0 || std::abs(y) > 1.0) return 0.0;
    return height_mm * 0.25 * (1.0 + std::cos(std::numbers::pi * x)) * (1.0 + std::cos(std::numbers::pi * y));
  });
  test::measure(made, profile, length_mm, noise_mm);
  return find_torn(made.grid, *made.fitted.find(FaceName::bevel), made.noise, {});
}

TEST(FindTorn, APitIsFoundWithItsDepth) {
  const auto torn = torn_with_bump(-0.5, 5.0, 4.0);
  ASSERT_EQ(torn.size(), 1U) << "seed " << seed;
  EXPECT_LE(torn[0].from_mm, 60.0);
  EXPECT_GE(torn[0].to_mm, 60.0);
  EXPECT_NEAR(torn[0].across_share, 0.5, 0.15);
  // Its deepest square millimetre lies up to (pi / 2)^2 / 4 (0.5^2 / 5^2 + 0.5^2 / 4^2) = 2 % above its bottom.
  EXPECT_NEAR(torn[0].depth_mm.value, 0.5, torn[0].depth_mm.u95() + 0.01);
}

TEST(FindTorn, AHumpIsNoPitBesideIt) { EXPECT_TRUE(torn_with_bump(0.45, 20.0, 8.0).empty()); }

TEST(FindTorn, ASoundFaceHasNone) { EXPECT_TRUE(torn_with_bump(0.0, 5.0, 4.0).empty()); }

}  // namespace
}  // namespace rimwright
