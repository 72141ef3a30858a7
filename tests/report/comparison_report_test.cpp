#include "report/comparison_report.h"

#include <gmock/gmock.h>
#include <gtest/gtest.h>
#include <unistd.h>

#include <cstdlib>
#include <filesystem>
#include <fstream>
#include <nlohmann/json.hpp>

#include "../judge/simulated_pass.h"
#include "report/faces_file.h"

namespace rimwright {
namespace {

using testing::HasSubstr;

// One pair for all tests of this file: humps came off between two scans in different poses, and a little is left.
struct Compared {
  Pass before, after;
  PassComparison comparison;
};

const Compared& compared() {
  static const Compared made = [] {
    BodySpec earlier = test::bevelled_body(300.0);
    earlier.name = "Mandola <invented>";
    earlier.defects = {test::hump(0.5, 110.0), test::hump(0.25, 170.0)};
    BodySpec later = test::bevelled_body(300.0);
    later.name = earlier.name;
    later.defects = {test::hump(0.2, 110.0)};
    ScannerSpec scanner;
    scanner.density_per_mm2 = 12.0;
    Compared pair;
    pair.before = test::simulated_pass(earlier, scanner, 61).pass;
    auto after = test::simulated_pass(later, scanner, 161);
    // What inspect would say of the later face: here, its true departure from the plain bevel.
    for (FacePoint& point : after.pass.faces.points) {
      if (point.kind == FaceKind::bevel) point.deviation_mm = std::abs(point.station_mm - 110.0F) < 20.0F ? 0.1F : 0.0F;
    }
    pair.after = after.pass;
    pair.before.verdict = Verdict::fail;
    pair.after.verdict = Verdict::fail;
    pair.before.findings = {{"bevel", "deviation", 95, 125, Verdict::fail, {0.5, 0.03, 0.2, 110}, ""},
                            {"bevel", "deviation", 160, 180, Verdict::fail, {0.25, 0.03, 0.2, 170}, ""}};
    pair.after.findings = {{"bevel", "deviation", 100, 120, Verdict::fail, {0.28, 0.03, 0.2, 110}, ""}};
    ReportedTable table{"bevel", {"angle"}, {}};
    for (double s = 60.0; s < 240.0; s += 2.0) table.stations.push_back({s, Vector3::Zero(), {{124.0, 0.1}}});
    pair.before.tables = {table};
    pair.after.tables = {table};
    auto comparison = compare_passes(pair.before, pair.after);
    if (!comparison) throw std::runtime_error(comparison.error().sentence());
    pair.comparison = std::move(*comparison);
    return pair;
  }();
  return made;
}

TEST(ComparisonReport, TheTextNamesWhatCameOffAndWhere) {
  const std::string text = comparison_text(compared().before, compared().after, compared().comparison);
  EXPECT_THAT(text, HasSubstr("bevel           160 to  170 mm"));
  EXPECT_THAT(text, HasSubstr("smaller: 0.30 -> 0.08 mm"));
  EXPECT_THAT(text, HasSubstr("gone; it was 0.05 mm"));
  if (const char* folder = std::getenv("RIMWRIGHT_SHOW")) {
    std::ofstream(std::string(folder) + "/compare.txt") << text;
    ASSERT_TRUE(
        write_comparison(compared().before, compared().after, compared().comparison, std::string(folder) + "/compare")
            .has_value());
  }
}

TEST(ComparisonReport, NothingElseIsSaidToHaveComeOff) {
  for (const RemovalStretch& stretch : compared().comparison.stretches) {
    const bool worked = stretch.kind == FaceKind::bevel && stretch.to_mm > 90.0 && stretch.from_mm < 190.0;
    if (worked) continue;
    EXPECT_LT(stretch.removed_mm - stretch.u95_mm, 0.02) << stretch.from_mm;
  }
}

TEST(ComparisonReport, PassesLeftFollowFromLeftAndLast) {
  ASSERT_TRUE(compared().comparison.passes_left.has_value());
  const PassesLeft& left = *compared().comparison.passes_left;
  EXPECT_NEAR(left.left_mm, 0.1, 0.02);
  EXPECT_GT(left.last_pass_mm, 0.05);
  EXPECT_EQ(left.passes, static_cast<int>(std::ceil(left.left_mm / left.last_pass_mm)));
}

TEST(ComparisonReport, TheJsonIsWholeAndHoldsTheCells) {
  const auto json = nlohmann::json::parse(comparison_json(compared().before, compared().after, compared().comparison));
  EXPECT_EQ(json["format"], "rimwright-comparison/1");
  EXPECT_EQ(json["cells"]["removed_mm"].size(), compared().comparison.cells.size());
  EXPECT_EQ(json["findings"].size(), 2u);
}

TEST(ComparisonReport, ThePageEscapesTheInstrumentAndRunsNothing) {
  const std::string page = comparison_page(compared().before, compared().after, compared().comparison, "");
  EXPECT_EQ(page.find("<invented>"), std::string::npos);
  EXPECT_THAT(page, HasSubstr("&lt;invented&gt;"));
  EXPECT_EQ(page.find("<script"), std::string::npos);
  EXPECT_EQ(page.find("http"), std::string::npos);
}

TEST(ComparisonReport, ThePictureIsAPng) {
  const std::string png = removal_png(compared().comparison);
  EXPECT_EQ(png.substr(1, 3), "PNG");
  EXPECT_TRUE(removal_png(PassComparison{}).empty());
}

TEST(ComparisonReport, AFolderThatHoldsSomethingElseIsLeftAlone) {
  const auto folder = std::filesystem::temp_directory_path() / ("rimwright-compare-" + std::to_string(::getpid()));
  std::filesystem::create_directories(folder);
  std::ofstream(folder / "letter.txt") << "dear";
  EXPECT_FALSE(
      write_comparison(compared().before, compared().after, compared().comparison, folder.string()).has_value());
  EXPECT_TRUE(std::filesystem::exists(folder / "letter.txt"));
  std::filesystem::remove_all(folder);
}

// Without faces there is no map, and the findings are still compared.
TEST(ComparePasses, WithoutFacesOnlyFindingsAreCompared) {
  Pass before = compared().before, after = compared().after;
  after.faces = {};
  const auto comparison = compare_passes(before, after);
  ASSERT_TRUE(comparison.has_value());
  EXPECT_FALSE(comparison->alignment.has_value());
  EXPECT_THAT(comparison->no_map_because, HasSubstr("faces"));
  EXPECT_EQ(comparison->progress.size(), 2u);
}

// Another instrument: a rim of other curvature does not align, and that is said.
TEST(ComparePasses, AnotherBodyIsRefused) {
  BodySpec other = test::bevelled_body(300.0);
  other.outline.pieces = {{150.0, 1.0 / 80.0, 1.0 / 80.0}, {150.0, -1.0 / 400.0, -1.0 / 400.0}};
  other.bevel->from_mm = 30.0;
  other.bevel->to_mm = 140.0;
  other.bevel->start_run_out_mm = other.bevel->end_run_out_mm = 30.0;
  ScannerSpec scanner;
  scanner.density_per_mm2 = 12.0;
  const auto comparison = compare_passes(compared().before, test::simulated_pass(other, scanner, 71).pass);
  EXPECT_FALSE(comparison.has_value());
}

}  // namespace
}  // namespace rimwright
