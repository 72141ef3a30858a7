#include "judge/removal_map.h"

#include <gtest/gtest.h>

#include <algorithm>
#include <cstdio>

#include "simulated_pass.h"

namespace rimwright {
namespace {

using test::bevelled_body;
using test::hump;
using test::simulated_pass;

// Closed form of what came off at a place of the later, plain bevel: the humps of the earlier one.
double true_removal_mm(const Body& after_body, const std::vector<DefectSpec>& humps, const Vector3& at_body,
                       double near_station_mm) {
  double station = near_station_mm;
  for (int i = 0; i < 4; ++i) {  // to the section that holds the place
    const OutlinePoint point = after_body.outline_at(station);
    station += (at_body.head<2>() - point.position_mm).dot(point.along);
  }
  const Section section = after_body.section(station);
  const Vector2 face = section.upper_edge - section.lower_edge;
  const OutlinePoint point = after_body.outline_at(station);
  const Vector2 out_up((at_body.head<2>() - point.position_mm).dot(point.out), at_body.z());
  const double across_mm = (out_up - section.lower_edge).dot(face.normalized());
  double removed = 0.0;
  for (const DefectSpec& defect : humps) {
    const double along = (station - defect.at_mm) / (0.5 * defect.length_mm);
    const double over = (across_mm - defect.across * face.norm()) / (0.5 * defect.width_mm);
    if (std::abs(along) >= 1.0 || std::abs(over) >= 1.0) continue;
    removed +=
        defect.size * 0.25 * (1.0 + std::cos(std::numbers::pi * along)) * (1.0 + std::cos(std::numbers::pi * over));
  }
  return removed;
}

struct Coverage {
  std::size_t cells = 0, covered = 0;
  double mean_error_mm = 0.0, median_u95_mm = 0.0;
};

Coverage coverage(const test::SimulatedPass& before, const test::SimulatedPass& after, const BodySpec& before_spec,
                  const BodySpec& after_spec, bool only_worked) {
  const auto alignment = align_passes(before.pass, after.pass);
  EXPECT_TRUE(alignment.has_value()) << (alignment ? "" : alignment.error().sentence());
  if (!alignment) return {};
  const Body body = *Body::from(after_spec);
  const Transform T_body_scan = after.truth.T_scan_body.inverse();
  Coverage result;
  std::vector<double> u95;
  for (const RemovalCell& cell : removal_map(before.pass, after.pass, *alignment)) {
    if (cell.kind != FaceKind::bevel) continue;
    const double truth = true_removal_mm(body, before_spec.defects, T_body_scan * cell.at_after_mm, cell.station_mm);
    if (only_worked && truth < 0.02) continue;
    ++result.cells;
    result.covered += std::abs(cell.removed_mm - truth) <= cell.u95_mm() ? 1 : 0;
    result.mean_error_mm += cell.removed_mm - truth;
    u95.push_back(cell.u95_mm());
  }
  result.mean_error_mm /= static_cast<double>(std::max<std::size_t>(1, result.cells));
  std::nth_element(u95.begin(), u95.begin() + static_cast<std::ptrdiff_t>(u95.size() / 2), u95.end());
  if (!u95.empty()) result.median_u95_mm = u95[u95.size() / 2];
  std::printf("%zu cells, %.1f %% within U95, mean error %.4f mm, median U95 %.4f mm\n", result.cells,
              100.0 * static_cast<double>(result.covered) / static_cast<double>(std::max<std::size_t>(1, result.cells)),
              result.mean_error_mm, result.median_u95_mm);
  return result;
}

// Known wood came off in known places: 0.05 to 0.5 mm. U95 must hold at 95 % of the cells; with some hundreds of
// cells, which share the alignment, 92 % is the lower bound asked of one pair.
TEST(RemovalMap, KnownWoodCameOffWithinU95) {
  BodySpec earlier = bevelled_body();
  earlier.defects = {hump(0.05, 105.0), hump(0.15, 155.0), hump(0.3, 205.0), hump(0.5, 255.0)};
  for (const unsigned seed : {31U, 32U}) {
    SCOPED_TRACE("seed " + std::to_string(seed));
    const auto before = simulated_pass(earlier, ScannerSpec{}, seed);
    const auto after = simulated_pass(bevelled_body(), ScannerSpec{}, seed + 100);
    const Coverage all = coverage(before, after, earlier, bevelled_body(), false);
    EXPECT_GT(all.cells, 500u);
    EXPECT_GE(static_cast<double>(all.covered), 0.92 * static_cast<double>(all.cells));
    EXPECT_LT(all.median_u95_mm, 0.05);  // fine enough to see the least of the humps
    const Coverage worked = coverage(before, after, earlier, bevelled_body(), true);
    EXPECT_GT(worked.cells, 100u);
    EXPECT_GE(static_cast<double>(worked.covered), 0.92 * static_cast<double>(worked.cells));
  }
}

// Errors that neighbouring points share (and that a cell's count cannot average out) are carried.
TEST(RemovalMap, SharedNoiseIsCarried) {
  BodySpec earlier = bevelled_body();
  earlier.defects = {hump(0.2, 120.0), hump(0.4, 200.0)};
  ScannerSpec scanner;
  scanner.correlated_noise_mm = 0.03;
  scanner.correlation_length_mm = 8.0;
  const auto before = simulated_pass(earlier, scanner, 41);
  const auto after = simulated_pass(bevelled_body(), scanner, 141);
  const Coverage all = coverage(before, after, earlier, bevelled_body(), false);
  EXPECT_GT(all.cells, 500u);
  // A field that varies over 8 mm leaves about (260 x 20) / (2 pi 64), some 13 independent places on the bevel: two of
  // them may by chance lie outside.
  EXPECT_GE(static_cast<double>(all.covered), 0.85 * static_cast<double>(all.cells));
  EXPECT_LT(all.median_u95_mm, 3.0 * 1.96 * std::hypot(0.03, 0.03));
}

// Nothing came off: no more than U95's own 2.5 % of cells may say that something did (one side), twice that for chance.
TEST(RemovalMap, WhereNothingCameOffNothingIsReported) {
  const auto before = simulated_pass(bevelled_body(), ScannerSpec{}, 51);
  const auto after = simulated_pass(bevelled_body(), ScannerSpec{}, 151);
  const auto alignment = align_passes(before.pass, after.pass);
  ASSERT_TRUE(alignment.has_value()) << alignment.error().sentence();
  std::size_t cells = 0, came_off = 0;
  for (const RemovalCell& cell : removal_map(before.pass, after.pass, *alignment)) {
    ++cells;
    came_off += cell.came_off() ? 1 : 0;
  }
  EXPECT_GT(cells, 2000u);
  EXPECT_LE(static_cast<double>(came_off), 0.05 * static_cast<double>(cells));
}

}  // namespace
}  // namespace rimwright
