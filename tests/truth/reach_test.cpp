// What measuring must reach, on seeded bodies: 24 points/mm2, white noise 0.04 mm along the normal (0.012 sideways),
// 0.2 % outliers, any pose. Every bound is the demand itself; the bias of each quantity stays under a third of it.
#include <gtest/gtest.h>

#include <algorithm>
#include <cmath>

#include "errors.h"
#include "pipelines/inspect_scan.h"
#include "random_trial.h"

namespace rimwright {
namespace {

BodySpec convex_body() {
  BodySpec spec;
  spec.outline.pieces = {{160, 1.0 / 300, 1.0 / 160}, {140, 1.0 / 160, 1.0 / 220}};
  spec.top.dome_radius_mm = 4500;
  spec.top.dome_centre_mm = {0, 150};
  spec.side.lean_deg = 0.5;
  spec.bevel = BevelSpec{.angle_deg = 124, .drop_mm = 16, .from_mm = 30, .to_mm = 270};
  spec.channels.push_back({"edge", BodyCorner::top_side, {{1.85, 5.85}, {2.5, 1.65}}});
  return spec;
}

BodySpec waisted_body() {
  BodySpec spec;
  spec.outline.pieces = {{120, 1.0 / 200, 1.0 / 180}, {180, 1.0 / 180, -1.0 / 250}};
  spec.side.lean_deg = -1.0;
  spec.left_handed = true;
  spec.bevel = BevelSpec{.angle_deg = 120, .drop_mm = 12, .from_mm = 20, .to_mm = 280};
  spec.channels.push_back({"lower", BodyCorner::side_bevel, {{1.85, 1.6}}, 0.0, 12.0});
  spec.channels.push_back({"upper", BodyCorner::top_bevel, {{2.5, 1.65}}, 0.0, 12.0});
  return spec;
}

ScannerSpec stated_scanner() {
  ScannerSpec scanner;
  scanner.density_per_mm2 = 24.0;
  scanner.far_density_per_mm2 = 6.0;
  scanner.normal_noise_mm = 0.04;
  scanner.sideways_noise_mm = 0.012;
  scanner.outlier_share = 0.002;
  scanner.random_pose = true;
  return scanner;
}

struct Demand {
  const char* quantity;
  double bound;
};

void expect_reached(const BodySpec& spec, std::uint64_t seed) {
  SCOPED_TRACE("seed " + std::to_string(seed));
  Workers workers;
  const auto body = Body::from(spec);
  ASSERT_TRUE(body.has_value()) << body.error().sentence();
  const auto scan = scan_cloud(*body, stated_scanner(), seed, &workers);
  ASSERT_TRUE(scan.has_value());
  const auto measures = measure_rim(scan->cloud, expected_from(spec), {}, workers);
  ASSERT_TRUE(measures.has_value()) << measures.error().sentence();
  const Errors errors = compare_with_truth(*measures, scan->truth);
  for (const Demand& demand : {Demand{"angle", 0.06}, Demand{"drop", 0.06}, Demand{"top_reach", 0.10},
                               Demand{"depth", 0.02}, Demand{"width", 0.03}}) {
    const auto found = errors.by_quantity.find(demand.quantity);
    ASSERT_NE(found, errors.by_quantity.end()) << demand.quantity;
    const Summary s = summarise(found->second);
    EXPECT_LE(s.p95, demand.bound) << demand.quantity << ": 95 % of stations";
    EXPECT_LT(std::abs(s.bias), demand.bound / 3) << demand.quantity << ": bias";
  }
  // At least 97 % of the length where a face is present is measured; nothing is reported where nothing is.
  EXPECT_GE(static_cast<double>(errors.bevel_measured), 0.97 * static_cast<double>(errors.bevel_true));
  EXPECT_GE(static_cast<double>(errors.steps_measured), 0.97 * static_cast<double>(errors.steps_true));
  EXPECT_EQ(errors.bevel_false, 0u);
  EXPECT_EQ(errors.steps_false, 0u);
}

TEST(Reach, ConvexDomedBody) { expect_reached(convex_body(), 41); }
TEST(Reach, WaistedLeftHandedFlatBody) { expect_reached(waisted_body(), 42); }

// A wave of 0.44 mm peak to valley and 34 mm length is sized within 10 %.
TEST(Reach, WavinessOfAKnownWave) {
  for (std::uint64_t seed = 51; seed <= 53; ++seed) {
    SCOPED_TRACE("seed " + std::to_string(seed));
    BodySpec spec = convex_body();
    spec.channels.clear();
    DefectSpec wave;
    wave.kind = DefectKind::wave;
    wave.size = 0.44, wave.wavelength_mm = 34.0;
    wave.from_mm = 95.0, wave.to_mm = 205.0;
    spec.defects = {wave};
    Workers workers;
    const auto scan = scan_cloud(Body::from(spec).value(), stated_scanner(), seed, &workers);
    ASSERT_TRUE(scan.has_value());
    const auto measures = measure_rim(scan->cloud, expected_from(spec), {}, workers);
    ASSERT_TRUE(measures.has_value());
    ASSERT_TRUE(measures->bevel.waviness_mm.is_measured());
    const double expected = scan->truth.fairness.waviness_mm;
    EXPECT_GT(expected, 0.3);  // the wave is there
    EXPECT_NEAR(measures->bevel.waviness_mm.value, expected, 0.1 * expected);
  }
}

// A phone's depth sensor: the angle stays within its U95 and no 0.15 mm channel limit is decided either way.
TEST(Reach, AtPhoneNoiseTheAngleHoldsAndChannelsAreUndecided) {
  BodySpec spec = convex_body();
  spec.channels[0].steps = {{2.5, 5.0}};
  ScannerSpec scanner = stated_scanner();
  scanner.normal_noise_mm = 1.2;
  scanner.sideways_noise_mm = 0.4;
  Workers workers;
  const auto scan = scan_cloud(Body::from(spec).value(), scanner, 61, &workers);
  ASSERT_TRUE(scan.has_value());
  Plan plan;
  plan.bevel = PlannedBevel{{124.0, {-1.0, 1.0}}, {16.0, {-1.0, 1.0}}};
  PlannedChannel channel;
  channel.name = "edge";
  channel.width_tolerance_mm = channel.depth_tolerance_mm = {-0.15, 0.15};
  channel.steps = {{2.5, 5.0}};
  plan.channels = {channel};
  const auto inspection = inspect_scan(scan->cloud, plan, {}, workers);
  ASSERT_TRUE(inspection.has_value()) << inspection.error().sentence();
  EXPECT_NE(inspection->verdict, Verdict::pass);
  for (const auto& station : inspection->measures.channels[0].stations)
    for (const auto& step : station.steps)
      for (const Measured* m : {&step.width_mm, &step.depth_mm})
        EXPECT_TRUE(!m->is_measured() || m->u95() > 0.15) << station.station_mm;
  const Errors errors = compare_with_truth(inspection->measures, scan->truth, {.furthest_mm = 8.0});
  const auto angles = errors.by_quantity.find("angle");
  ASSERT_NE(angles, errors.by_quantity.end());
  const Summary s = summarise(angles->second);
  // Windows of 24 mm: about ten independent places along 240 mm; with 95 % covered, all but two of ten are in 99 of
  // 100 scans.
  EXPECT_GE(s.covered, 0.8);
}

TEST(Reach, SameForOneAndTwoThreads) {
  const Trial trial = random_trial(4);
  const auto body = Body::from(trial.body);
  ASSERT_TRUE(body.has_value());
  Workers one(1), two(2);
  const auto scan = scan_of(trial, *body, two);
  ASSERT_TRUE(scan.has_value());
  const auto a = inspect_scan(scan->cloud, trial.plan, {}, one), b = inspect_scan(scan->cloud, trial.plan, {}, two);
  ASSERT_TRUE(a && b);
  ASSERT_EQ(a->measures.bevel.stations.size(), b->measures.bevel.stations.size());
  const auto same = [](const Measured& p, const Measured& q) {
    return (p.is_measured() == q.is_measured()) && (!p.is_measured() || (p.value == q.value && p.u95() == q.u95()));
  };
  for (std::size_t i = 0; i < a->measures.bevel.stations.size(); ++i) {
    const BevelStation &p = a->measures.bevel.stations[i], &q = b->measures.bevel.stations[i];
    EXPECT_EQ(p.at_scan_mm, q.at_scan_mm);
    EXPECT_TRUE(same(p.angle_deg, q.angle_deg) && same(p.drop_mm, q.drop_mm) && same(p.top_reach_mm, q.top_reach_mm) &&
                same(p.straightness_mm, q.straightness_mm))
        << i;
  }
  for (std::size_t c = 0; c < a->measures.channels.size(); ++c) {
    ASSERT_EQ(a->measures.channels[c].stations.size(), b->measures.channels[c].stations.size());
    for (std::size_t i = 0; i < a->measures.channels[c].stations.size(); ++i)
      for (std::size_t k = 0; k < a->measures.channels[c].stations[i].steps.size(); ++k) {
        const StepMeasures &p = a->measures.channels[c].stations[i].steps[k],
                           &q = b->measures.channels[c].stations[i].steps[k];
        EXPECT_TRUE(same(p.width_mm, q.width_mm) && same(p.depth_mm, q.depth_mm)) << c << " " << i;
      }
  }
  EXPECT_EQ(a->verdict, b->verdict);
  ASSERT_EQ(a->findings.size(), b->findings.size());
  for (std::size_t i = 0; i < a->findings.size(); ++i) EXPECT_EQ(a->findings[i].advice, b->findings[i].advice);
}

}  // namespace
}  // namespace rimwright
