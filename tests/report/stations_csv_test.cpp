#include "report/stations_csv.h"

#include <gtest/gtest.h>

#include <algorithm>
#include <sstream>
#include <string>
#include <vector>

#include "judge/compare.h"
#include "made_inspection.h"

namespace rimwright {
namespace {

TEST(StationsCsv, TextThatASpreadsheetWouldRunIsLedByAnApostrophe) {
  EXPECT_EQ(csv_cell("=HYPERLINK(1)"), "'=HYPERLINK(1)");
  EXPECT_EQ(csv_cell("+1"), "'+1");
  EXPECT_EQ(csv_cell("-1"), "'-1");
  EXPECT_EQ(csv_cell("@SUM(A1)"), "'@SUM(A1)");
  EXPECT_EQ(csv_cell("\t=1"), "\"'\t'=1\"");
  EXPECT_EQ(csv_cell("\n=1"), "\"'\n'=1\"");
  EXPECT_EQ(csv_cell(std::string_view("\0=1", 3)), std::string("'\0=1", 4));
  EXPECT_EQ(csv_cell("\uFF1D1"), "'\uFF1D1");
  EXPECT_EQ(csv_cell("plain"), "plain");
  EXPECT_EQ(csv_cell("a-b = c"), "a-b = c");
}

// Where the list separator is a semicolon, a spreadsheet splits a quoted cell in its middle.
TEST(StationsCsv, FormulasBehindAnotherSeparatorAreLedByAnApostropheToo) {
  EXPECT_EQ(csv_cell("binding;=HYPERLINK(1)"), "\"binding;'=HYPERLINK(1)\"");
  EXPECT_EQ(csv_cell("binding\t@SUM(A1)"), "\"binding\t'@SUM(A1)\"");
}

TEST(StationsCsv, QuotesFollowRfc4180) {
  EXPECT_EQ(csv_cell("a,b"), "\"a,b\"");
  EXPECT_EQ(csv_cell("say \"x\"\nthen"), "\"say \"\"x\"\"\nthen\"");
  EXPECT_EQ(csv_cell("=a,\"b\""), "\"'=a,\"\"b\"\"\"");
}

// An inspection may be judged under settings of its own: the files tell its verdicts, and judge nothing anew.
TEST(StationsCsv, VerdictsAndLimitsAreThoseOfTheInspection) {
  Inspection inspection = made_inspection();
  inspection.judged = compare(inspection.plan, inspection.measures, {.least_drop_mm = 1000.0});
  const auto angle = std::find_if(inspection.judged.begin(), inspection.judged.end(),
                                  [](const JudgedSeries& series) { return series.kind == QuantityKind::angle; });
  ASSERT_TRUE(angle == inspection.judged.end() || angle->stations.empty());  // no bevel drops that far
  std::istringstream csv(stations_csv(inspection));
  std::string line;
  std::size_t angles = 0;
  while (std::getline(csv, line)) {
    if (line.rfind("bevel,angle,", 0) != 0) continue;
    ++angles;
    for (const char* verdict : {",pass,", ",fail,", ",undecided,"})
      EXPECT_EQ(line.find(verdict), std::string::npos) << line;
  }
  EXPECT_GT(angles, 100U);
}

TEST(StationsCsv, OneRowAQuantityAndStation) {
  const Inspection inspection = made_inspection();
  std::istringstream csv(stations_csv(inspection));
  std::string line;
  std::size_t rows = 0, empty_values = 0;
  ASSERT_TRUE(std::getline(csv, line));
  EXPECT_EQ(line.rfind("feature,quantity,station_mm", 0), 0U);
  const auto commas = std::count(line.begin(), line.end(), ',');
  while (std::getline(csv, line)) {
    ++rows;
    EXPECT_EQ(line.back(), '\r');
    EXPECT_EQ(std::count(line.begin(), line.end(), ','), commas) << line;
    if (line.find(",,,mm,") != std::string::npos) ++empty_values;
  }
  const Measures& m = inspection.measures;
  EXPECT_EQ(rows, 4 * m.bevel.stations.size() + 2 * m.block.size() + 4 * m.channels[0].stations.size() +
                      2 * m.channels[1].stations.size());
  EXPECT_EQ(empty_values, 5U) << "stations 301 to 305 have no straightness";
}

// Every row of a quantity holds what was measured, to five decimals, the limits it was held to, and the verdict.
TEST(StationsCsv, RowsHoldWhatWasMeasuredAndItsLimits) {
  const Inspection inspection = made_inspection();
  const auto rows_of = [&](const std::string& feature, const std::string& quantity) {
    std::istringstream csv(stations_csv(inspection));
    std::string line;
    std::vector<std::vector<std::string>> rows;
    while (std::getline(csv, line)) {
      std::vector<std::string> cells(1);
      for (const char c : line) c == ',' ? cells.emplace_back() : cells.back() += std::string(1, c);
      if (cells[0] == feature && cells[1] == quantity) rows.push_back(cells);
    }
    return rows;
  };
  const auto check = [](const std::vector<std::string>& row, double station_mm, const Measured& measured,
                        const Toleranced& planned) {
    constexpr double half_last = 0.5e-5 + 1e-12;
    EXPECT_NEAR(std::stod(row[2]), station_mm, 0.5e-3 + 1e-12);
    ASSERT_TRUE(measured.is_measured());
    EXPECT_NEAR(std::stod(row[6]), measured.value, half_last);
    EXPECT_NEAR(std::stod(row[7]), measured.u95(), half_last);
    if (row[11].empty()) return;  // not judged: the end of a channel, a thin run-out
    EXPECT_NEAR(std::stod(row[9]), planned.lower_limit(), half_last);
    EXPECT_NEAR(std::stod(row[10]), planned.upper_limit(), half_last);
    EXPECT_EQ(row[11],
              name_of(verdict_of(measured.value, measured.u95(), planned.lower_limit(), planned.upper_limit())));
  };
  const Measures& measures = inspection.measures;
  const auto angles = rows_of("bevel", "angle");
  ASSERT_EQ(angles.size(), measures.bevel.stations.size());
  for (std::size_t i = 0; i < angles.size(); ++i)
    check(angles[i], measures.bevel.stations[i].station_mm, measures.bevel.stations[i].angle_deg,
          inspection.plan.bevel->angle_deg);
  const PlannedChannel& planned = inspection.plan.channels[0];
  const auto depths = rows_of("edge binding", "step 1 depth");
  const std::vector<ChannelStation>& stations = measures.channels[0].stations;
  ASSERT_EQ(depths.size(), stations.size());
  std::size_t failed = 0;
  for (std::size_t i = 0; i < depths.size(); ++i) {
    check(depths[i], stations[i].station_mm, stations[i].steps[0].depth_mm,
          {planned.steps[0].depth_mm, planned.depth_tolerance_mm});
    failed += depths[i][11] == "fail" ? 1 : 0;
  }
  EXPECT_GT(failed, 10U) << "the case must hold the floor that is 0.43 mm high over 20 mm";
}

}  // namespace
}  // namespace rimwright
