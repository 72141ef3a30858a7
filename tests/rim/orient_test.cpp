// Which way is up: any pose, a table, a left-handed body, a flat top; what is no body is refused.
#include "rim/orient.h"

#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include <cmath>
#include <functional>
#include <random>

#include "scanned_body.h"

namespace rimwright {
namespace {

double tilt_rad(const Orientation& orientation, const SimulatedScan& scan) {
  const Vector3 up = orientation.T_body_scan.linear().transpose() * Vector3::UnitZ();
  return std::acos(std::clamp(up.dot(test::true_up(scan)), -1.0, 1.0));
}

void expect_found(const BodySpec& spec, const ScannerSpec& scanner, std::uint64_t seed) {
  SCOPED_TRACE("seed " + std::to_string(seed));
  const auto made = test::scanned(spec, scanner, seed);
  Workers workers;
  const auto cells = gather_cells(made.scan.cloud, {}, workers);
  ASSERT_TRUE(cells.has_value());
  const auto orientation = orient(*cells, {}, workers);
  ASSERT_TRUE(orientation.has_value()) << orientation.error().sentence();
  // Stated: standard uncertainty about each of two axes. The tilt's length is Rayleigh: below 3.4 of them in 997 of
  // 1000.
  EXPECT_LT(tilt_rad(*orientation, made.scan), 3.4 * orientation->tilt_u_rad + 1e-4);
  EXPECT_LT(orientation->tilt_u_rad, radians_from_degrees(1.5));  // a side's usual lean and more says nothing
  ASSERT_EQ(orientation->wall_cells.size(), orientation->wall_out.size());
  ASSERT_GT(orientation->wall_cells.size(), 20u);
  // `out` of each wall cell points away from the body: against the truth's nearest section.
  std::size_t right = 0;
  const Transform T_body_truth = orientation->T_body_scan * Transform(Eigen::Translation3d(-made.scan.cloud.origin_mm));
  for (std::size_t i = 0; i < orientation->wall_cells.size(); ++i) {
    const Vector3 p = made.scan.cloud.origin_mm + cells->cells[orientation->wall_cells[i]].mean_mm.cast<double>();
    const auto& stations = made.scan.truth.stations;
    const auto nearest = std::min_element(stations.begin(), stations.end(), [&](const auto& a, const auto& b) {
      return (a.at_scan_mm - p).squaredNorm() < (b.at_scan_mm - p).squaredNorm();
    });
    const auto station = made.body.outline_at(nearest->station_mm);
    Vector3 out(station.out.x(), station.out.y(), 0.0);
    out = made.body.mirrored(out);
    const Vector3 out_found = T_body_truth.linear() * (made.scan.truth.T_scan_body.linear() * out);
    right += out_found.head<2>().dot(orientation->wall_out[i]) > 0.8;
  }
  EXPECT_GT(static_cast<double>(right), 0.9 * static_cast<double>(orientation->wall_cells.size()));
}

TEST(Orient, FindsUpInAnyPose) {
  for (std::uint64_t seed = 1; seed <= 6; ++seed) {
    ScannerSpec scanner = test::plain_scanner();
    scanner.random_pose = true;
    expect_found(test::bevelled_body(), scanner, seed);
  }
}

TEST(Orient, TableIsNoTop) {
  for (std::uint64_t seed = 11; seed <= 13; ++seed) {
    ScannerSpec scanner = test::plain_scanner();
    scanner.random_pose = scanner.table = true;
    expect_found(test::bevelled_body(), scanner, seed);
  }
}

TEST(Orient, LeftHandedIsTheSameJob) {
  for (std::uint64_t seed = 21; seed <= 23; ++seed) {
    ScannerSpec scanner = test::plain_scanner();
    scanner.random_pose = true;
    expect_found(test::bevelled_body(true), scanner, seed);
  }
}

TEST(Orient, FlatTopAndThinScan) {
  BodySpec flat = test::bevelled_body();
  flat.top = {};
  flat.side.lean_deg = 0.0;
  ScannerSpec scanner = test::plain_scanner(2.0, 0.15);
  scanner.random_pose = true;
  expect_found(flat, scanner, 31);
}

void expect_refused(const Cloud& cloud, std::initializer_list<RefusalReason> reasons) {
  Workers workers;
  const auto cells = gather_cells(cloud, {}, workers);
  Refusal why;
  if (!cells) {
    why = cells.error();
  } else {
    const auto orientation = orient(*cells, {}, workers);
    if (orientation) {
      const auto outline = trace_outline(*cells, *orientation, {});
      ASSERT_FALSE(outline.has_value()) << "a rim was found where there is none";
      why = outline.error();
    } else {
      why = orientation.error();
    }
  }
  EXPECT_THAT(std::vector<RefusalReason>(reasons), testing::Contains(why.reason)) << why.sentence();
  EXPECT_FALSE(why.what.empty());
  EXPECT_FALSE(why.what_to_do.empty());
}

Cloud made_of(std::size_t count, unsigned seed, const std::function<Vector3(std::mt19937&)>& point) {
  std::mt19937 random(seed);
  Cloud cloud;
  for (std::size_t i = 0; i < count; ++i) {
    const Vector3 p = point(random);
    cloud.x.push_back(static_cast<float>(p.x()));
    cloud.y.push_back(static_cast<float>(p.y()));
    cloud.z.push_back(static_cast<float>(p.z()));
  }
  return cloud;
}

using enum RefusalReason;

// A noise of nearly a millimetre spills points into the cells above and below the top's own. The mean of its two bends
// is the dome's, -1/R, to half of what such cells added when each counted like a full one: 2.8e-4 1/mm.
TEST(Orient, SpilledPointsDoNotBendTheTop) {
  BodySpec spec = test::bevelled_body();
  spec.bevel = BevelSpec{.angle_deg = 117, .drop_mm = 15, .from_mm = 30, .to_mm = 250};
  double error = 0.0, count = 0.0;
  for (const std::uint64_t seed : {1, 2, 3, 4}) {
    SCOPED_TRACE("seed " + std::to_string(seed));
    const auto made = test::scanned(spec, test::plain_scanner(4.0, 0.95), seed);
    Workers workers;
    const auto cells = gather_cells(made.scan.cloud, {}, workers);
    ASSERT_TRUE(cells.has_value());
    const auto orientation = orient(*cells, {}, workers);
    ASSERT_TRUE(orientation.has_value()) << orientation.error().sentence();
    const double across = orientation->top.bend_along({1.0, 0.0}), other = orientation->top.bend_along({0.0, 1.0});
    error += 0.5 * (across + other) + 1.0 / spec.top.dome_radius_mm;
    count += 1.0;
  }
  EXPECT_NEAR(error / count, 0.0, 1.4e-4);
}

TEST(Orient, RefusesAPlane) {
  std::uniform_real_distribution<double> place(0.0, 300.0);
  std::normal_distribution<double> noise(0.0, 0.05);
  expect_refused(made_of(200000, 1, [&](auto& r) { return Vector3(place(r), place(r), noise(r)); }),
                 {no_side_found, no_top_found, no_rim_found, shape_degenerate});
}

TEST(Orient, RefusesABall) {
  std::normal_distribution<double> unit;
  const auto on_ball = [&](auto& r) -> Vector3 { return 100.0 * Vector3(unit(r), unit(r), unit(r)).normalized(); };
  expect_refused(made_of(200000, 2, on_ball), {no_side_found, no_top_found, no_rim_found, shape_degenerate});
}

TEST(Orient, RefusesATopWithoutSideAndASideWithoutTop) {
  const auto made = test::scanned(test::bevelled_body(), test::plain_scanner(), 5);
  for (const BodyFace left_out : {BodyFace::side, BodyFace::top}) {
    Cloud cloud;
    for (std::size_t i = 0; i < made.scan.cloud.size(); ++i) {
      if (made.scan.face[i] < 0 || made.scan.face[i] == static_cast<std::int8_t>(left_out)) continue;
      cloud.x.push_back(made.scan.cloud.x[i]);
      cloud.y.push_back(made.scan.cloud.y[i]);
      cloud.z.push_back(made.scan.cloud.z[i]);
    }
    expect_refused(cloud, {no_side_found, no_top_found, no_rim_found, shape_degenerate});
  }
}

TEST(Orient, RefusesCoincidentPointsAndALine) {
  expect_refused(made_of(5000, 3, [](auto&) { return Vector3(1, 2, 3); }),
                 {no_side_found, no_top_found, no_rim_found, shape_degenerate, too_few_points});
  std::uniform_real_distribution<double> place(0.0, 300.0);
  expect_refused(made_of(5000, 4, [&](auto& r) { return Vector3(place(r), 0, 0); }),
                 {no_side_found, no_top_found, no_rim_found, shape_degenerate, too_few_points});
}

}  // namespace
}  // namespace rimwright
