// A scan above the limit, thinned on the way in, must measure as the whole one does.
#include "pipelines/cloud_from_large_file.h"

#include <gtest/gtest.h>
#include <unistd.h>

#include <algorithm>
#include <cmath>
#include <filesystem>
#include <map>
#include <utility>

#include "pipelines/cloud_from_file.h"
#include "pipelines/inspect_scan.h"
#include "pipelines/read_settings.h"
#include "plan/read_plan.h"

namespace rimwright {
namespace {

const std::filesystem::path folder = std::filesystem::path(RIMWRIGHT_SAMPLES) / "octave-mandola-first-pass";

// Agreement of one quantity over the stations that both runs measured.
struct Agreement {
  std::size_t both = 0, within_u95 = 0, one_only = 0;

  void compare(const Measured& a, const Measured& b) {
    if (!a.is_measured() || !b.is_measured()) {
      one_only += a.is_measured() != b.is_measured() ? 1 : 0;
      return;
    }
    ++both;
    within_u95 += std::abs(a.value - b.value) <= std::max(a.u95(), b.u95()) ? 1 : 0;
  }
};

Agreement compare_bevels(const Measures& a, const Measures& b) {
  Agreement agreement;
  const auto at = [&](double station_mm) -> const BevelStation* {
    for (const auto& station : b.bevel.stations)
      if (std::abs(station.station_mm - station_mm) < 0.25) return &station;
    return nullptr;
  };
  for (const auto& station : a.bevel.stations) {
    const BevelStation* other = at(station.station_mm);
    if (other == nullptr) {
      ++agreement.one_only;
      continue;
    }
    agreement.compare(station.angle_deg, other->angle_deg);
    agreement.compare(station.drop_mm, other->drop_mm);
    agreement.compare(station.top_reach_mm, other->top_reach_mm);
  }
  return agreement;
}

Outcome<Measures> measure(const Cloud& cloud, Workers& workers) {
  const auto plan = read_plan((folder / "plan.yaml").string());
  if (!plan) return tl::unexpected(plan.error());
  return measure_rim(cloud, expected_from(*plan), {}, workers);
}

// The sample holds 135 445 points: far above a limit of 50 000. Its rim's surroundings are most of it, so a third is
// read as coarse cloud and nearly all is kept; what is measured may differ only by the coarse rim's place.
TEST(CloudFromLargeFile, MeasuresAsTheWholeScanDoes) {
  Workers workers(2);
  CloudFromFileSettings settings;
  const auto whole = cloud_from_file(folder / "scan.ply", settings, workers);
  ASSERT_TRUE(whole) << whole.error().sentence();
  settings.large.points_above = 50'000;
  settings.large.coarse_points = 45'000;
  const auto thinned = cloud_from_file(folder / "scan.ply", settings, workers);
  ASSERT_TRUE(thinned) << thinned.error().sentence();
  EXPECT_EQ(thinned->counts.points_in_file, whole->counts.points_in_file);
  ASSERT_FALSE(thinned->notes.empty());
  EXPECT_NE(thinned->notes.back().find("near the rim all"), std::string::npos) << thinned->notes.back();

  const auto a = measure(*whole, workers), b = measure(*thinned, workers);
  ASSERT_TRUE(a) << a.error().sentence();
  ASSERT_TRUE(b) << b.error().sentence();
  // Where the rim ends follows from the cells of the points read: half a millimetre of rim may come or go.
  const double half_a_mm = 0.5 * static_cast<double>(a->scan.points_near_rim) / a->scan.rim_length_mm;
  EXPECT_NEAR(static_cast<double>(a->scan.points_near_rim), static_cast<double>(b->scan.points_near_rim), half_a_mm);
  const Agreement agreement = compare_bevels(*a, *b);
  ASSERT_GT(agreement.both, 600U);
  EXPECT_EQ(agreement.within_u95, agreement.both);
  EXPECT_LE(agreement.one_only, agreement.both / 50);
}

// With an even share of the points near the rim the two runs see different noise: 95 % of the differences lie within
// the larger U95 even if their errors were independent and equal only when that is sqrt 2 times smaller, so 90 % is
// asked for.
TEST(CloudFromLargeFile, AnEvenShareNearTheRimMeasuresAlike) {
  Workers workers(2);
  CloudFromFileSettings settings;
  const auto whole = cloud_from_file(folder / "scan.ply", settings, workers);
  ASSERT_TRUE(whole) << whole.error().sentence();
  settings.large.points_above = 50'000;
  settings.large.coarse_points = 45'000;
  settings.large.most_near_rim = 80'000;
  const auto thinned = cloud_from_file(folder / "scan.ply", settings, workers);
  ASSERT_TRUE(thinned) << thinned.error().sentence();
  EXPECT_LT(thinned->size(), whole->size() * 3 / 4);
  const auto a = measure(*whole, workers), b = measure(*thinned, workers);
  ASSERT_TRUE(a) << a.error().sentence();
  ASSERT_TRUE(b) << b.error().sentence();
  const Agreement agreement = compare_bevels(*a, *b);
  ASSERT_GT(agreement.both, 300U);
  EXPECT_GE(static_cast<double>(agreement.within_u95), 0.9 * static_cast<double>(agreement.both));
}

TEST(CloudFromLargeFile, OneAndTwoThreadsKeepTheSamePoints) {
  CloudFromFileSettings settings;
  settings.large.points_above = 50'000;
  settings.large.coarse_points = 45'000;
  settings.large.most_near_rim = 80'000;
  Workers one(1), two(2);
  const auto a = cloud_from_file(folder / "scan.ply", settings, one);
  const auto b = cloud_from_file(folder / "scan.ply", settings, two);
  ASSERT_TRUE(a && b);
  EXPECT_EQ(a->x, b->x);
  EXPECT_EQ(a->y, b->y);
  EXPECT_EQ(a->z, b->z);
}

// The zone must hold all that sections use, with room.
TEST(CloudFromLargeFile, KeepsMoreThanSectionsUse) {
  const LargeFileSettings zone;
  const UnrollSettings sections;
  EXPECT_GE(zone.inside_mm, sections.inside_mm + 5.0);
  EXPECT_GE(zone.outside_mm, sections.outside_mm + 5.0);
  EXPECT_GE(zone.below_mm, sections.below_mm + 5.0);
  EXPECT_GE(zone.above_mm, sections.above_mm + 5.0);
}

// A settings file speaks of one rim: the coarse pass looks for it as measuring does, and keeps what wider sections use.
TEST(CloudFromLargeFile, LooksForTheRimAsTheSettingsFileSays) {
  const auto given = read_settings_text(
      "{rim: {gather: {smallest_cell_mm: 4}, outline: {shortest_rim_mm: 150}, "
      "orient: {usual_lean_deg: 2}, unroll: {inside_mm: 90}}}",
      "settings.yaml");
  ASSERT_TRUE(given) << given.error().sentence();
  const FindRimSettings& find = given->capture.file.find_rim;
  EXPECT_EQ(find.gather.smallest_cell_mm, 4.0);
  EXPECT_EQ(find.outline.shortest_rim_mm, 150.0);
  EXPECT_EQ(find.orient.usual_lean_deg, 2.0);
  EXPECT_EQ(find.unroll.inside_mm, 90.0);

  Workers workers(2);
  CloudFromFileSettings settings;
  settings.large.points_above = 50'000;
  settings.large.coarse_points = 20'000;
  const auto usual = cloud_from_file(folder / "scan.ply", settings, workers);
  ASSERT_TRUE(usual) << usual.error().sentence();
  settings.find_rim.unroll.inside_mm = 90.0;
  const auto wide = cloud_from_file(folder / "scan.ply", settings, workers);
  ASSERT_TRUE(wide) << wide.error().sentence();
  EXPECT_GT(wide->size(), usual->size());
  settings.find_rim.outline.shortest_rim_mm = 1e4;  // longer than any
  const auto none = cloud_from_file(folder / "scan.ply", settings, workers);
  ASSERT_FALSE(none);
  EXPECT_EQ(none.error().reason, RefusalReason::no_rim_found);
}

}  // namespace
}  // namespace rimwright
