// The refitted top's bend against the dome the body was made with: unbiased in any noise, and as sure as it says.
#include "rim/refit_top.h"

#include <gtest/gtest.h>

#include <Eigen/Cholesky>
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
    const auto oriented = orient(*cells, {}, workers);
    EXPECT_TRUE(oriented.has_value()) << "seed " << seed;
    if (!oriented) continue;
    const Orientation refitted = refit_top(*oriented, made.scan.cloud, *cells, {}, workers);
    EXPECT_GT(refitted.top_bend.points_a_mm2, 0.5);
    EXPECT_LT(refitted.top_bend.points_a_mm2, 7.0);  // of 6 that the scanner gives, cells at the border counted whole
    for (const Vector2& direction : {Vector2(1.0, 0.0), Vector2(0.0, 1.0)}) {
      const double variance = refitted.top_bend.variance_along(direction, {noise_mm, 0.0, 0.0});
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

// Variance of the bend across a strip under correlated error, by brute force: weights of the least-squares quadric over
// a grid of points, and the correlation of each pair of them.
double brute_variance(double width_mm, double correlation_length_mm) {
  constexpr double rim_mm = 200.0, apart_mm = 2.0;
  std::vector<Vector2> points;
  for (double x = 0.5 * apart_mm; x < width_mm; x += apart_mm)
    for (double y = 0.5 * apart_mm; y < rim_mm; y += apart_mm)
      points.emplace_back(x - 0.5 * width_mm, y - 0.5 * rim_mm);
  const auto n = static_cast<Eigen::Index>(points.size());
  Eigen::MatrixXd rows(n, 6);
  for (Eigen::Index i = 0; i < n; ++i) {
    const Vector2& p = points[static_cast<std::size_t>(i)];
    rows.row(i) << 1.0, p.x(), p.y(), p.x() * p.x(), p.x() * p.y(), p.y() * p.y();
  }
  const Eigen::Matrix<double, 6, 6> normal = rows.transpose() * rows;
  const Eigen::VectorXd weights = 2.0 * rows * normal.ldlt().solve(Eigen::Matrix<double, 6, 1>::Unit(3));
  double sum = 0.0;
  for (Eigen::Index i = 0; i < n; ++i)
    for (Eigen::Index j = 0; j < n; ++j) {
      const double h = (points[static_cast<std::size_t>(i)] - points[static_cast<std::size_t>(j)]).norm();
      sum += weights[i] * weights[j] * std::exp(-0.5 * std::pow(h / correlation_length_mm, 2));
    }
  return sum;
}

TEST(TopBend, CorrelatedErrorByBruteForce) {
  for (const double width : {20.0, 40.0})
    for (const double length : {5.0, 8.0, 12.0}) {
      TopBend bend;
      const double n = width / 2.0 * 100.0;  // the same grid of 2 mm over 200 mm of rim
      bend.points = n, bend.points_a_mm2 = 0.25;
      bend.covariance(0, 0) = 180.0 / (n * std::pow(width, 4));  // of cxx, for an even strip
      const double stated = bend.variance_along(Vector2::UnitX(), {0.0, 1.0, length});
      const double brute = brute_variance(width, length);
      // Both stand for standard uncertainties that need not be known better than to a fifth (half of that in squares),
      // and never too small by more.
      EXPECT_GT(stated, brute / 1.4) << width << " mm wide, correlated over " << length;
      EXPECT_LT(stated, brute * 1.4) << width << " mm wide, correlated over " << length;
    }
}

TEST(RefitTop, TooFewPointsLeaveItAsItWas) {
  const auto made = test::scanned(test::bevelled_body(), test::plain_scanner(), 3);
  Workers workers;
  const auto cells = gather_cells(made.scan.cloud, {}, workers);
  ASSERT_TRUE(cells.has_value());
  const auto oriented = orient(*cells, {}, workers);
  ASSERT_TRUE(oriented.has_value());
  RefitTopSettings settings;
  settings.fewest_points = made.scan.cloud.size() + 1;
  const Orientation same = refit_top(*oriented, made.scan.cloud, *cells, settings, workers);
  EXPECT_EQ(same.top.coefficients, oriented->top.coefficients);
  EXPECT_EQ(same.top_bend.variance_along(Vector2::UnitX(), {0.1, 0.0, 0.0}), std::pow(settings.usual_bend_per_mm, 2));
}

}  // namespace
}  // namespace rimwright
