#include "report/stations_csv.h"

#include <gtest/gtest.h>

#include <algorithm>
#include <sstream>

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

}  // namespace
}  // namespace rimwright
