#include "judge/history.h"

#include <gtest/gtest.h>

#include <cmath>

namespace rimwright {
namespace {

Pass pass_with(double angle_deg, double depth_mm) {
  Pass pass;
  ReportedTable bevel{"bevel", {"angle", "drop"}, {}};
  for (int i = 0; i <= 100; ++i) {
    // Run-outs at both ends: the drop rises to 16 over the first and last twenty stations, and the angle is off there.
    const double drop_mm = 16.0 * std::min(1.0, std::min(i, 100 - i) / 20.0);
    const bool full = drop_mm >= 0.9 * 16.0;
    bevel.stations.push_back({2.0 * i, Vector3::Zero(), {{full ? angle_deg : 130.0, 0.1}, {drop_mm, 0.05}}});
  }
  ReportedTable channel{"binding", {"step 1 depth"}, {}};
  for (int i = 0; i <= 100; ++i) channel.stations.push_back({2.0 * i, Vector3::Zero(), {{depth_mm + 0.001 * i, 0.02}}});
  pass.tables = {bevel, channel};
  pass.waviness_mm = {0.2, 0.03};
  return pass;
}

const Course* course(const std::vector<Course>& courses, const std::string& quantity) {
  for (const Course& each : courses) {
    if (each.quantity == quantity) return &each;
  }
  return nullptr;
}

TEST(History, EachQuantityRunsOverThePasses) {
  const std::vector<Course> courses =
      courses_of({pass_with(126.0, 5.4), pass_with(124.5, 5.6), pass_with(124.0, 5.85)});
  const Course* angle = course(courses, "angle");
  ASSERT_NE(angle, nullptr);
  ASSERT_EQ(angle->points.size(), 3u);
  EXPECT_EQ(angle->unit, "deg");
  EXPECT_DOUBLE_EQ(angle->points[0].median, 126.0);  // the run-outs' 130 degrees do not count
  EXPECT_DOUBLE_EQ(angle->points[2].median, 124.0);
  EXPECT_DOUBLE_EQ(angle->points[2].high, 124.0);
  const Course* depth = course(courses, "step 1 depth");
  ASSERT_NE(depth, nullptr);
  // By hand: 5.4, 5.401, ... 5.5: median 5.45, 5 % at 5.405, 95 % at 5.495.
  EXPECT_NEAR(depth->points[0].median, 5.45, 1e-9);
  EXPECT_NEAR(depth->points[0].low, 5.405, 1e-9);
  EXPECT_NEAR(depth->points[0].high, 5.495, 1e-9);
  EXPECT_NEAR(depth->points[0].u95, 0.02, 1e-12);
  ASSERT_NE(course(courses, "waviness"), nullptr);
  EXPECT_EQ(course(courses, "lower edge fairness"), nullptr);  // never measured: not listed
  Pass with_edge = pass_with(124.0, 5.85);
  with_edge.upper_edge_fairness_mm = {0.3, 0.04};
  const std::vector<Course> edges = courses_of({with_edge});
  ASSERT_NE(course(edges, "upper edge fairness"), nullptr);
  EXPECT_DOUBLE_EQ(course(edges, "upper edge fairness")->points[0].median, 0.3);
  EXPECT_EQ(course(edges, "lower edge fairness"), nullptr);
}

TEST(History, APassWithoutTheQuantityLeavesAGap) {
  Pass without = pass_with(124.0, 5.85);
  without.tables.pop_back();
  const std::vector<Course> courses = courses_of({pass_with(126.0, 5.4), without});
  const Course* depth = course(courses, "step 1 depth");
  ASSERT_NE(depth, nullptr);
  EXPECT_EQ(depth->points[1].stations, 0u);
  EXPECT_TRUE(std::isnan(depth->points[1].median));
}

}  // namespace
}  // namespace rimwright
