// The angle of a crowned face of which a channel has cut away more beside one edge: that of the whole face, not that of
// the line through what is left.
#include <gtest/gtest.h>

#include <cmath>

#include "errors.h"
#include "pipelines/inspect_scan.h"
#include "simulate/scanner.h"

namespace rimwright {
namespace {

TEST(CrownedFace, TheAngleIsThatOfTheWholeFace) {
  constexpr double crown_mm = 0.4, drop_mm = 11.0, depth_mm = 2.0, angle_deg = 124.0;
  const std::uint64_t seed = 5;
  BodySpec spec;
  spec.outline.pieces = {{140, 1.0 / 250, 1.0 / 160}, {140, 1.0 / 160, 1.0 / 220}};
  spec.bevel = BevelSpec{.angle_deg = angle_deg, .drop_mm = drop_mm, .from_mm = 20, .to_mm = 260};
  spec.channels.push_back({"lower", BodyCorner::side_bevel, {{2.0, depth_mm}}, 0.0, 12.0});
  DefectSpec crown;
  crown.kind = DefectKind::crown, crown.size = crown_mm, crown.from_mm = 100.0, crown.to_mm = 180.0;
  spec.defects.push_back(crown);
  const auto body = Body::from(spec);
  ASSERT_TRUE(body.has_value());
  ScannerSpec scanner;
  scanner.density_per_mm2 = 12.0;
  scanner.normal_noise_mm = 0.03;
  Workers workers;
  const auto scan = scan_cloud(*body, scanner, seed, &workers);
  ASSERT_TRUE(scan.has_value());
  Expected expected;
  expected.bevel = ExpectedBevel{radians_from_degrees(angle_deg), drop_mm};
  expected.channels.push_back({ExpectedCorner::side_bevel, {{2.0, depth_mm}}});
  const auto measures = measure_rim(scan->cloud, expected, {}, workers);
  ASSERT_TRUE(measures.has_value());
  double sum = 0.0, count = 0.0;
  for (const auto& error : compare_with_truth(*measures, scan->truth, {}).by_quantity.at("angle")) {
    if (error.station_mm < 115.0 || error.station_mm > 165.0) continue;  // clear of where the crown begins
    sum += error.error, count += 1.0;
  }
  ASSERT_GT(count, 40.0);
  // What the line through the rest of the parabola leans by: eight crowns over the width squared, times half of what is
  // cut away.
  const double off_upright = radians_from_degrees(180.0 - angle_deg);
  const double width_mm = drop_mm / std::cos(off_upright), cut_mm = depth_mm / std::sin(off_upright);
  const double lean_deg = degrees_from_radians(8.0 * crown_mm / (width_mm * width_mm) * 0.5 * cut_mm);
  EXPECT_GT(lean_deg, 0.4);
  EXPECT_LT(std::abs(sum / count), 0.2 * lean_deg) << "seed " << seed;
}

}  // namespace
}  // namespace rimwright
