// The outline against the simulator's rim: place, length, gaps, a closed rim, a waist; the side's unfairness is kept.
#include "rim/trace_outline.h"

#include <gtest/gtest.h>

#include <cmath>
#include <optional>

#include "scanned_body.h"

namespace rimwright {
namespace {

struct Traced {
  test::Scanned made;
  Orientation orientation;
  RimOutline outline;
  // Plan position in the traced frame of a true rim station.
  [[nodiscard]] Vector2 true_plan(std::size_t i) const {
    return (orientation.T_body_scan * (made.scan.truth.stations[i].at_scan_mm - made.scan.cloud.origin_mm)).head<2>();
  }
};

std::optional<Traced> trace(const BodySpec& spec, const ScannerSpec& scanner, std::uint64_t seed) {
  Workers workers;
  auto made = test::scanned(spec, scanner, seed);
  const auto cells = gather_cells(made.scan.cloud, {}, workers);
  const auto orientation = orient(*cells, {}, workers);
  if (!orientation) {
    ADD_FAILURE() << orientation.error().sentence();
    return std::nullopt;
  }
  auto outline = trace_outline(*cells, *orientation, {});
  if (!outline) {
    ADD_FAILURE() << outline.error().sentence();
    return std::nullopt;
  }
  return Traced{std::move(made), *orientation, std::move(*outline)};
}

// Largest distance of the traced curve from the true rim, away from the ends.
double worst_miss_mm(const Traced& traced, double clear_mm) {
  const RimCurve& curve = traced.outline.curve;
  double worst = 0.0;
  const auto& stations = traced.made.scan.truth.stations;
  for (std::size_t i = 0; i < stations.size(); i += 5) {
    const bool open = !curve.closed();
    if (open && (stations[i].station_mm < clear_mm || stations.back().station_mm - stations[i].station_mm < clear_mm))
      continue;
    const Vector2 p = traced.true_plan(i);
    double guess = 0.0, nearest = 1e9;
    for (double s = 0.0; s < curve.length_mm(); s += 2.0)
      if ((curve.point(s) - p).norm() < nearest) nearest = (curve.point(s) - p).norm(), guess = s;
    worst = std::max(worst, std::abs(curve.foot_of(p, guess).out_mm));
  }
  return worst;
}

// The curve only has to lie near the rim corner: sections measure what is left. A third of a millimetre keeps every
// gate and margin of the sections valid.
constexpr double near_enough_mm = 0.33;

TEST(TraceOutline, FollowsTheRim) {
  for (std::uint64_t seed = 1; seed <= 3; ++seed) {
    ScannerSpec scanner = test::plain_scanner();
    scanner.random_pose = true;
    const auto traced = trace(test::bevelled_body(), scanner, seed);
    ASSERT_TRUE(traced);
    EXPECT_FALSE(traced->outline.curve.closed());
    EXPECT_LT(worst_miss_mm(*traced, 6.0), near_enough_mm);
    // An end is known to a cell of 3 mm.
    EXPECT_NEAR(traced->outline.curve.length_mm(), traced->made.body.rim_length_mm(), 6.0);
  }
}

TEST(TraceOutline, MeanLeanIsThatOfTheSide) {
  for (const double lean : {-1.0, 0.0, 2.0}) {
    BodySpec spec = test::bevelled_body();
    spec.side.lean_deg = lean;
    const auto traced = trace(spec, test::plain_scanner(12.0, 0.03), 4);
    ASSERT_TRUE(traced);
    // Up itself is known to tilt_u about each axis, which the lean shares.
    EXPECT_NEAR(degrees_from_radians(traced->outline.lean_rad), lean,
                0.1 + 3.0 * degrees_from_radians(traced->orientation.tilt_u_rad))
        << lean;
  }
}

TEST(TraceOutline, BridgesAClampAndHoles) {
  ScannerSpec scanner = test::plain_scanner();
  ClampSpec clamp;
  clamp.at_mm = 140.0;
  scanner.clamps = {clamp};
  scanner.holes = 6;
  const auto traced = trace(test::bevelled_body(), scanner, 5);
  ASSERT_TRUE(traced);
  EXPECT_NEAR(traced->outline.curve.length_mm(), traced->made.body.rim_length_mm(), 6.0);
  EXPECT_LT(worst_miss_mm(*traced, 6.0), 1.0);  // under the clamp the curve is a guess
}

TEST(TraceOutline, ClosesAroundAWholeBodyWithAWaist) {
  BodySpec spec;
  spec.outline.closed = true;
  for (int i = 0; i < 24; ++i) {
    const double a = 2.0 * std::numbers::pi * i / 24.0, r = 150.0 + 35.0 * std::cos(2.0 * a) + 6.0 * std::cos(a);
    spec.outline.points_mm.emplace_back(r * std::cos(a), r * std::sin(a));
  }
  ScannerSpec scanner = test::plain_scanner(3.0, 0.04);
  scanner.random_pose = true;
  const auto traced = trace(spec, scanner, 6);
  ASSERT_TRUE(traced);
  EXPECT_TRUE(traced->outline.curve.closed());
  EXPECT_LT(worst_miss_mm(*traced, 0.0), near_enough_mm);
  EXPECT_NEAR(traced->outline.curve.length_mm(), traced->made.body.rim_length_mm(), 2.0);
  bool hollow = false;  // the waist curves inward somewhere
  for (double s = 0.0; s < traced->outline.curve.length_mm(); s += 10.0)
    hollow = hollow || traced->outline.curve.curvature(s) < -1.0 / 2000;
  EXPECT_TRUE(hollow);
}

}  // namespace
}  // namespace rimwright
