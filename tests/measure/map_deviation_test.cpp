// Deviation from the target face on bevels made by hand: sign, height and place.
#include "measure/map_deviation.h"

#include <gtest/gtest.h>

#include <cmath>

#include "measured_bevel.h"

namespace rimwright {
namespace {

constexpr double length_mm = 240.0, drop_mm = 14.0, noise_mm = 0.02, density = 8.0;

void make(test::MeasuredBevel& made, double angle_deg,
          const std::function<double(double, std::size_t, double)>& lift = nullptr) {
  const auto profile = [angle_deg](double) { return test::bevelled_profile(drop_mm, angle_deg); };
  made.rim = test::made_rim(length_mm, profile, density, noise_mm, 4, lift);
  test::measure(made, profile, length_mm, noise_mm);
}

UnrolledMap map_of(const test::MeasuredBevel& made, double planned_deg, std::vector<TargetFace>& targets) {
  const ExpectedBevel planned{radians_from_degrees(planned_deg), drop_mm};
  targets = target_faces(made.rim, made.fitted, made.bevel, planned);
  return map_deviation(made.fitted, made.grid, targets, made.noise);
}

// Mean deviation of the map's cells within a window of station and across.
double mean_in(const UnrolledMap& map, double from_s, double to_s, double from_across, double to_across) {
  double sum = 0.0, count = 0.0;
  for (std::size_t row = 0; row < map.rows; ++row)
    for (std::size_t column = 0; column < map.columns; ++column) {
      const double s = map.first_station_mm + static_cast<double>(column) * map.station_step_mm;
      const double across = map.first_across_mm + (static_cast<double>(row) + 0.5) * map.across_step_mm;
      const float d = map.deviation_mm[row * map.columns + column];
      if (s < from_s || s > to_s || across < from_across || across > to_across || !std::isfinite(d)) continue;
      sum += d;
      count += 1;
    }
  return count > 0 ? sum / count : std::numeric_limits<double>::quiet_NaN();
}

TEST(MapDeviation, AFaceAsPlannedDeviatesByNothing) {
  test::MeasuredBevel made;
  make(made, 124.0);
  std::vector<TargetFace> targets;
  const UnrolledMap map = map_of(made, 124.0, targets);
  // The faired edge is sure to its U95 of a few hundredths; cells average thousands of points.
  EXPECT_NEAR(mean_in(map, 30, 210, 2, 20), 0.0, 0.01);
}

TEST(MapDeviation, WoodToTakeOffIsPositiveAndInItsPlace) {
  for (const double height : {0.3, -0.3}) {
    test::MeasuredBevel made;
    make(made, 124.0, [height](double s, std::size_t facet, double t) {
      return facet == 1 && s > 110 && s < 130 && t > 9 && t < 16 ? height : 0.0;
    });
    std::vector<TargetFace> targets;
    const UnrolledMap map = map_of(made, 124.0, targets);
    EXPECT_NEAR(mean_in(map, 114, 126, 10.5, 14.5), height, 0.05) << height;
    EXPECT_NEAR(mean_in(map, 30, 90, 2, 20), 0.0, 0.02);
    EXPECT_NEAR(mean_in(map, 150, 210, 2, 20), 0.0, 0.02);
  }
}

// A face of 125 degrees against a plan of 124 leaves its lower edge at one degree: deviation grows by tan(1 deg) per
// millimetre across. It leans 55 instead of 56 degrees from the line of the side: less wood taken off, positive.
TEST(MapDeviation, AWrongAngleGrowsAcross) {
  test::MeasuredBevel made;
  make(made, 125.0);
  std::vector<TargetFace> targets;
  const UnrolledMap map = map_of(made, 124.0, targets);
  const double near = mean_in(map, 30, 210, 4, 5), far = mean_in(map, 30, 210, 14, 15);
  EXPECT_NEAR(far - near, 10.0 * std::tan(radians_from_degrees(1.0)), 0.02);
}

}  // namespace
}  // namespace rimwright
