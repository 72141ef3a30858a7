// Rim coordinates against brute force on the curve, and back to the scan.
#include "rim/unroll.h"

#include <gtest/gtest.h>

#include <array>
#include <cmath>
#include <limits>
#include <map>
#include <utility>
#include <vector>

#include "scanned_body.h"

namespace rimwright {
namespace {

struct Unrolled {
  test::Scanned made;
  UnrolledRim rim;
};

Unrolled unrolled(std::uint64_t seed, Workers& workers, const UnrollSettings& settings = {},
                  double work_down_mm = std::numeric_limits<double>::infinity()) {
  ScannerSpec scanner = test::plain_scanner(3.0);
  scanner.random_pose = true;
  auto made = test::scanned(test::bevelled_body(), scanner, seed);
  const auto cells = gather_cells(made.scan.cloud, {}, workers);
  const auto orientation = orient(*cells, {}, workers);
  const auto outline = trace_outline(*cells, orientation.value(), {});
  Cloud used_up = made.scan.cloud;
  UnrolledRim rim = unroll(used_up, *orientation, outline.value().curve, settings, workers, work_down_mm);
  return {std::move(made), std::move(rim)};
}

TEST(Unroll, SlicesHoldTheirStationsInOrder) {
  Workers workers;
  const auto [made, rim] = unrolled(1, workers);
  ASSERT_EQ(rim.slice_begin.front(), 0u);
  ASSERT_EQ(rim.slice_begin.back(), rim.station_mm.size());
  for (std::size_t k = 0; k < rim.slice_count(); ++k)
    for (std::size_t i = rim.slice_begin[k]; i < rim.slice_begin[k + 1]; ++i) {
      EXPECT_GE(rim.station_mm[i], static_cast<double>(k) * rim.slice_mm - 1e-4);
      EXPECT_LE(rim.station_mm[i], static_cast<double>(k + 1) * rim.slice_mm + 1e-4);
    }
}

TEST(Unroll, NearestPointOnTheCurveByBruteForce) {
  Workers workers;
  const auto [made, rim] = unrolled(2, workers);
  for (std::size_t i = 0; i < rim.station_mm.size(); i += 997) {
    const double s = rim.station_mm[i], out = rim.out_mm[i];
    const Vector2 p = rim.curve.point(s) + out * rim.curve.out(s);
    double nearest = 1e9;
    for (double t = 0.0; t <= rim.curve.length_mm(); t += 0.05)
      nearest = std::min(nearest, (rim.curve.point(t) - p).norm());
    // Brute force in steps of 0.05 mm is never nearer than the foot, and further by at most its half step's sag.
    EXPECT_GT(nearest, std::abs(out) - 1e-3);
    EXPECT_LT(nearest, std::abs(out) + 0.025);
  }
}

TEST(Unroll, BackToTheScanIsThePointItself) {
  Workers workers;
  const auto [made, rim] = unrolled(3, workers);
  // Every unrolled point, brought back, is a point of the cloud (to the float's rounding at 500 mm, 0.03 um, times the
  // interpolation of the top's height within a slice).
  std::map<std::array<long, 3>, int> places;
  const auto key = [](const Vector3& p, int dx, int dy, int dz) {
    return std::array<long, 3>{std::lround(p.x() / 0.05) + dx, std::lround(p.y() / 0.05) + dy,
                               std::lround(p.z() / 0.05) + dz};
  };
  const auto& cloud = made.scan.cloud;
  for (std::size_t i = 0; i < cloud.size(); ++i) places[key({cloud.x[i], cloud.y[i], cloud.z[i]}, 0, 0, 0)]++;
  for (std::size_t i = 0; i < rim.station_mm.size(); i += 211) {
    const Vector3 p = rim.scan_point_mm(rim.station_mm[i], rim.out_mm[i], rim.up_mm[i]);
    bool found = false;
    for (int dx = -1; dx <= 1; ++dx)
      for (int dy = -1; dy <= 1; ++dy)
        for (int dz = -1; dz <= 1; ++dz) found = found || places.contains(key(p, dx, dy, dz));
    EXPECT_TRUE(found) << i;
  }
}

TEST(Unroll, SidePointsLieAtTheRimAndTopPointsOnTheTop) {
  Workers workers;
  const auto [made, rim] = unrolled(4, workers);
  double top_sum = 0.0, side_sum = 0.0;
  std::size_t tops = 0, sides = 0;
  for (std::size_t i = 0; i < rim.station_mm.size(); ++i) {
    const double out = rim.out_mm[i], up = rim.up_mm[i];
    if (out < -30.0 && out > -50.0 && std::abs(up) < 2.0) {
      const Vector2 plan = rim.curve.point(rim.station_mm[i]) + out * rim.curve.out(rim.station_mm[i]);
      top_sum += up + rim.rim_height_mm(rim.station_mm[i]) - rim.top.height_mm(plan.x(), plan.y());
      ++tops;
    }
    if (up < -20.0 && up > -22.0 && std::abs(out) < 3.0) side_sum += out, ++sides;
  }
  ASSERT_GT(tops, 1000u);
  ASSERT_GT(sides, 200u);
  EXPECT_NEAR(top_sum / static_cast<double>(tops), 0.0, 0.02);  // the quadric follows a 5 m dome to micrometres
  // 21 mm below the corner a lean of 0.7 deg carries the side out by 0.26 mm; the curve itself may miss by a third.
  EXPECT_NEAR(side_sum / static_cast<double>(sides), 21.0 * std::tan(radians_from_degrees(0.7)), 0.33);
}

TEST(Unroll, KeepsAnEvenShareOfTheSideBelowAllWork) {
  Workers workers;
  constexpr double deep_mm = 20.0;
  const UnrollSettings thinning{.deep_points_a_mm = 30.0};
  const UnrolledRim all = unrolled(6, workers).rim, kept = unrolled(6, workers, thinning, deep_mm).rim;
  const auto above = [&](const UnrolledRim& rim) {
    std::vector<std::array<float, 3>> points;
    for (std::size_t i = 0; i < rim.up_mm.size(); ++i)
      if (rim.up_mm[i] >= -deep_mm) points.push_back({rim.station_mm[i], rim.out_mm[i], rim.up_mm[i]});
    return points;
  };
  EXPECT_EQ(above(kept), above(all));
  // What is below, by stretches of 10 mm: as even as chance or better. One of `every` is the whole number below what
  // would leave just as many as asked for; these are told by a sample, so a twentieth fewer may be left.
  std::map<int, std::pair<double, double>> below;
  double all_below = 0.0, kept_below = 0.0;
  for (std::size_t i = 0; i < all.up_mm.size(); ++i)
    if (all.up_mm[i] < -deep_mm) ++below[static_cast<int>(all.station_mm[i] / 10.0F)].first, ++all_below;
  for (std::size_t i = 0; i < kept.up_mm.size(); ++i)
    if (kept.up_mm[i] < -deep_mm) ++below[static_cast<int>(kept.station_mm[i] / 10.0F)].second, ++kept_below;
  const double wanted = thinning.deep_points_a_mm * all.curve.length_mm();
  ASSERT_GT(all_below, 2.5 * wanted);
  EXPECT_GT(kept_below, 0.95 * wanted);
  EXPECT_LT(kept_below, 2.0 * wanted);
  const double share = kept_below / all_below;
  EXPECT_NEAR(1.0 / share, std::round(1.0 / share), 5.0 * std::sqrt((1.0 - share) / kept_below) / share);
  for (const auto& [stretch, counts] : below)
    EXPECT_NEAR(counts.second, share * counts.first, 5.0 * std::sqrt(share * (1.0 - share) * counts.first) + 1.0)
        << stretch;
}

TEST(Unroll, SameForOneAndTwoThreads) {
  Workers one(1), two(2);
  const UnrollSettings thinning{.deep_points_a_mm = 30.0};
  const auto a = unrolled(5, one, thinning, 20.0), b = unrolled(5, two, thinning, 20.0);
  EXPECT_EQ(a.rim.station_mm, b.rim.station_mm);
  EXPECT_EQ(a.rim.out_mm, b.rim.out_mm);
  EXPECT_EQ(a.rim.up_mm, b.rim.up_mm);
}

}  // namespace
}  // namespace rimwright
