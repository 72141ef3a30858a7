// The refitted top's bend against the dome the body was made with: unbiased in any noise, and as sure as it says.
#include "rim/refit_top.h"

#include <gtest/gtest.h>

#include <cmath>

#include "scanned_body.h"

namespace rimwright {
namespace {

constexpr double dome_radius_mm = 5000.0;

// Sums of squared errors of the bend along two directions in plan, over the variances that are stated.
struct BendErrors {
  double refitted = 0.0, of_cells = 0.0, count = 0.0;
};

BendErrors bend_errors(double noise_mm, std::uint64_t first_seed) {
  BendErrors errors;
  // A long bevel leaves a strip of the top, across which its bend is told least well.
  BodySpec spec = test::bevelled_body();
  spec.bevel->angle_deg = 115.0;
  spec.bevel->drop_mm = 16.0;
  for (std::uint64_t seed = first_seed; seed < first_seed + 8; ++seed) {
    const auto made = test::scanned(spec, test::plain_scanner(6.0, noise_mm), seed);
    Workers workers;
    const auto cells = gather_cells(made.scan.cloud, {}, workers);
    EXPECT_TRUE(cells.has_value()) << "seed " << seed;
    if (!cells) continue;
    const auto oriented = orient(*cells, {});
    EXPECT_TRUE(oriented.has_value()) << "seed " << seed;
    if (!oriented) continue;
    const Orientation refitted = refit_top(*oriented, made.scan.cloud, *cells, {});
    EXPECT_GT(refitted.top_bend.points_a_mm2, 0.5);
    EXPECT_LT(refitted.top_bend.points_a_mm2, 7.0);  // of 6 that the scanner gives, cells at the border counted whole
    for (const Vector2& direction : {Vector2(1.0, 0.0), Vector2(0.0, 1.0)}) {
      const double variance = refitted.top_bend.variance_along(direction) * noise_mm * noise_mm;
      const auto squared = [&](const TopSurface& top) {
        return std::pow(top.bend_along(direction) + 1.0 / dome_radius_mm, 2) / variance;
      };
      errors.refitted += squared(refitted.top), errors.of_cells += squared(oriented->top), errors.count += 1;
    }
  }
  return errors;
}

TEST(RefitTop, TheBendIsAsSureAsItSays) {
  for (const double noise_mm : {0.1, 0.8}) {
    const BendErrors errors = bend_errors(noise_mm, 1);
    ASSERT_EQ(errors.count, 16.0);
    // Sixteen squared standard normal values: a mean below 2.5 in 999 of 1000 (chi square, 16 degrees of
    // freedom: 39.3).
    EXPECT_LT(errors.refitted / errors.count, 2.5) << noise_mm << " mm of noise, seeds 1 to 8";
    EXPECT_GT(errors.refitted / errors.count, 0.2);  // 3.9 / 16, likewise
    // What it is for: the cells' own quadric misses by more than that in a noisy scan.
    if (noise_mm > 0.5) {
      EXPECT_GT(errors.of_cells / errors.count, 2.5);
    }
  }
}

TEST(RefitTop, TooFewPointsLeaveItAsItWas) {
  const auto made = test::scanned(test::bevelled_body(), test::plain_scanner(), 3);
  Workers workers;
  const auto cells = gather_cells(made.scan.cloud, {}, workers);
  ASSERT_TRUE(cells.has_value());
  const auto oriented = orient(*cells, {});
  ASSERT_TRUE(oriented.has_value());
  RefitTopSettings settings;
  settings.fewest_points = made.scan.cloud.size() + 1;
  const Orientation same = refit_top(*oriented, made.scan.cloud, *cells, settings);
  EXPECT_EQ(same.top.coefficients, oriented->top.coefficients);
  EXPECT_EQ(same.top_bend.points_a_mm2, 0.0);
}

}  // namespace
}  // namespace rimwright
