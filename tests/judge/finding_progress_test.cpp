#include "judge/finding_progress.h"

#include <gtest/gtest.h>

#include <random>

namespace rimwright {
namespace {

Finding finding(double value, double u95, double limit, double from_mm = 100.0, double to_mm = 120.0,
                Verdict verdict = Verdict::fail) {
  return {"edge binding", "step 1 depth", from_mm, to_mm, verdict, {value, u95, limit, from_mm}, ""};
}

Pass pass_with(std::vector<Finding> findings, double depth_mm = 5.85, double u95_mm = 0.02) {
  Pass pass;
  pass.findings = std::move(findings);
  ReportedTable table{"edge binding", {"step 1 width", "step 1 depth"}, {}};
  for (double s = 0.0; s <= 300.0; s += 2.0) {
    table.stations.push_back({s, Vector3::Zero(), {{1.85, 0.02}, {depth_mm, u95_mm}}});
  }
  pass.tables = {table};
  return pass;
}

Progress only(const Pass& before, const Pass& after, double shift_mm = 0.0) {
  const auto all = finding_progress(before, after, shift_mm);
  EXPECT_EQ(all.size(), 1u);
  return all.empty() ? Progress::unchanged : all.front().progress;
}

// Depth limits 5.70 to 6.00. Too shallow by 0.30 (5.40), then by 0.05 (5.65): smaller. Then by 0.50: worse. The change
// must exceed the root sum of squares of both U95.
TEST(FindingProgress, ByHand) {
  const Pass before = pass_with({finding(5.40, 0.03, 5.70)}, 5.40);
  EXPECT_EQ(only(before, pass_with({finding(5.65, 0.03, 5.70)})), Progress::smaller);
  EXPECT_EQ(only(before, pass_with({finding(5.20, 0.03, 5.70)})), Progress::worse);
  EXPECT_EQ(only(before, pass_with({finding(5.44, 0.03, 5.70)})), Progress::unchanged);  // 0.04 < sqrt(2) 0.03
  EXPECT_EQ(only(before, pass_with({finding(5.45, 0.03, 5.70)})), Progress::smaller);    // 0.05 > 0.0424
  EXPECT_EQ(only(before, pass_with({})), Progress::gone);
}

// From too shallow to too deep in one pass: it was 0.30 under the lower limit, it is 0.40 over the upper.
TEST(FindingProgress, ThroughTheToleranceAndOutTheOtherSideIsWorse) {
  const Pass before = pass_with({finding(5.40, 0.03, 5.70)});
  EXPECT_EQ(only(before, pass_with({finding(6.40, 0.03, 6.00)})), Progress::worse);
  EXPECT_EQ(only(before, pass_with({finding(6.10, 0.03, 6.00)})), Progress::smaller);
}

TEST(FindingProgress, NewIsOnlyWhatReallyChanged) {
  const Pass before = pass_with({}, 5.71, 0.02);  // within, by a hair
  const auto all = finding_progress(before, pass_with({finding(5.69, 0.02, 5.70)}), 0.0);
  ASSERT_EQ(all.size(), 1u);
  EXPECT_EQ(all[0].progress, Progress::unchanged);  // 0.02 is less than both can tell
  EXPECT_EQ(only(before, pass_with({finding(5.40, 0.02, 5.70)})), Progress::new_here);
}

TEST(FindingProgress, WhatTheLaterScanDoesNotShowIsNotGone) {
  const Pass before = pass_with({finding(5.40, 0.03, 5.70)});
  Pass after = pass_with({});
  for (ReportedStation& station : after.tables[0].stations) station.quantities[1] = {};
  EXPECT_EQ(only(before, after), Progress::not_seen_now);
  after.tables.clear();
  EXPECT_EQ(only(before, after), Progress::not_seen_now);
}

// The later scan starts 40 mm further along the rim: its station 60 is the earlier one's 100.
TEST(FindingProgress, StationsAreMatchedAcrossTheShift) {
  const Pass before = pass_with({finding(5.40, 0.03, 5.70, 100, 120)});
  EXPECT_EQ(only(before, pass_with({finding(5.65, 0.03, 5.70, 60, 80)}), 40.0), Progress::smaller);
  EXPECT_EQ(finding_progress(before, pass_with({finding(5.65, 0.03, 5.70, 60, 80)}), 0.0).size(), 2u);
}

// As far beyond on the other side nothing is the same place; and what was not seen is looked for at its own stations.
TEST(FindingProgress, TheShiftHasItsSign) {
  const Pass before = pass_with({finding(5.40, 0.03, 5.70, 100, 120)});
  EXPECT_EQ(finding_progress(before, pass_with({finding(5.65, 0.03, 5.70, 160, 180)}), 40.0).size(), 2u);
  const auto hidden = [](double from_mm, double to_mm) {
    Pass after = pass_with({});
    for (ReportedStation& station : after.tables[0].stations)
      if (station.station_mm >= from_mm && station.station_mm <= to_mm) station.quantities[1] = {};
    return after;
  };
  EXPECT_EQ(only(before, hidden(58.0, 82.0), 40.0), Progress::not_seen_now);
  EXPECT_EQ(only(before, hidden(98.0, 122.0), 40.0), Progress::gone);
}

// A finding that is new is held against the worst of its stretch in the earlier pass.
TEST(FindingProgress, NewIsHeldAgainstTheWorstThatWas) {
  Pass before = pass_with({});
  before.tables[0].stations[55].quantities[1].value = 5.60;  // at 110 mm
  const auto all = finding_progress(before, pass_with({finding(5.55, 0.01, 5.70)}), 0.0);
  ASSERT_EQ(all.size(), 1u);
  EXPECT_NEAR(all[0].was_mm, 0.10, 1e-9);
  EXPECT_NEAR(all[0].is_mm, 0.15, 1e-9);
}

// The same fault measured twice: 'worse' may be said by chance in 2.5 % of pairs at most. 4000 pairs: the 99.9 % bound
// of a binomial of that share is 2.5 % + 3.1 sqrt(0.025 x 0.975 / 4000) = 3.3 %.
TEST(FindingProgress, FalseWorseIsRare) {
  constexpr unsigned seed = 4711;
  SCOPED_TRACE("seed " + std::to_string(seed));
  std::mt19937 random(seed);
  std::normal_distribution<double> noise(0.0, 0.02);
  const double u95 = 1.96 * 0.02;
  int worse = 0, smaller = 0;
  constexpr int pairs = 4000;
  for (int i = 0; i < pairs; ++i) {
    const Progress progress = only(pass_with({finding(5.40 + noise(random), u95, 5.70)}),
                                   pass_with({finding(5.40 + noise(random), u95, 5.70)}));
    worse += progress == Progress::worse ? 1 : 0;
    smaller += progress == Progress::smaller ? 1 : 0;
  }
  EXPECT_LE(worse, static_cast<int>(0.033 * pairs));
  EXPECT_LE(smaller, static_cast<int>(0.033 * pairs));
  EXPECT_GT(worse + smaller, 0);  // a test that cannot say 'worse' would prove nothing
}

}  // namespace
}  // namespace rimwright
