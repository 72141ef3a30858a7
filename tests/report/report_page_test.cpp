#include "report/report_page.h"

#include <gtest/gtest.h>

#include <algorithm>
#include <cmath>
#include <nlohmann/json.hpp>

#include "made_inspection.h"
#include "report/page_data.h"
#include "report/results_json.h"

namespace rimwright {
namespace {

std::string content_of(const std::string& page, const std::string& id) {
  const std::string mark = "id=\"" + id + "\">";
  const std::size_t begin = page.find(mark);
  if (begin == std::string::npos) return "";
  return page.substr(begin + mark.size(), page.find("</script>", begin) - begin - mark.size());
}

// RFC 4648, section 10.
TEST(Base64, TestVectors) {
  EXPECT_EQ(base64(""), "");
  EXPECT_EQ(base64("f"), "Zg==");
  EXPECT_EQ(base64("fo"), "Zm8=");
  EXPECT_EQ(base64("foo"), "Zm9v");
  EXPECT_EQ(base64("foobar"), "Zm9vYmFy");
}

TEST(ReportPage, HoldsTheNumbersOfResultsJson) {
  const Inspection inspection = made_inspection();
  const Outcome<std::string> page = report_page(inspection, made_context());
  ASSERT_TRUE(page);
  const auto facts = nlohmann::json::parse(content_of(*page, "facts"));
  EXPECT_EQ(facts.at("results"), nlohmann::json::parse(results_json(inspection, made_context())));
}

TEST(ReportPage, AsksForNothingFromOutside) {
  const Outcome<std::string> page = report_page(made_inspection(), made_context());
  ASSERT_TRUE(page);
  EXPECT_NE(page->find("Content-Security-Policy"), std::string::npos);
  EXPECT_NE(page->find("default-src 'none'"), std::string::npos);
  EXPECT_EQ(page->find("unsafe-inline"), std::string::npos);
  EXPECT_EQ(page->find("<link"), std::string::npos);
  EXPECT_EQ(page->find("<script src"), std::string::npos);
}

TEST(ReportPage, ALongRimStaysUnderSixMegabytes) {
  MadeSettings settings;
  settings.rim_mm = 1500.0;
  const Outcome<std::string> page = report_page(made_inspection(settings), made_context());
  ASSERT_TRUE(page);
  EXPECT_LT(page->size(), 6'000'000U);
}

TEST(ReportPage, HostileNamesCannotEndTheirElement) {
  Inspection inspection = made_inspection();
  inspection.plan.instrument = "</script><script>alert(1)</script>@DATA@@PLAIN@";
  const Outcome<std::string> page = report_page(inspection, made_context());
  ASSERT_TRUE(page);
  EXPECT_EQ(page->find("<script>alert"), std::string::npos);
  const auto facts = nlohmann::json::parse(content_of(*page, "facts"));
  EXPECT_EQ(facts.at("results").at("instrument"), inspection.plan.instrument);
}

TEST(PageData, QuantisedFaceIsWithinHalfAQuantum) {
  const Inspection inspection = made_inspection();
  const PageData data = page_data(inspection, made_context(), "");
  const UnrolledMap& map = inspection.measures.map;
  const auto page = nlohmann::json::parse(data.page_json).at("map");
  const auto columns = page.at("columns").get<std::size_t>();
  const auto first = static_cast<std::size_t>(page.at("first_station_mm").get<double>() - map.first_station_mm);
  ASSERT_EQ(data.face_cells.size(), 2 * columns * map.rows);
  std::size_t missing = 0, seen = 0, seen_in_map = 0;
  for (const float deviation : map.deviation_mm) seen_in_map += std::isnan(deviation) ? 0 : 1;
  for (std::size_t i = 0; i < columns * map.rows; ++i) {
    const float deviation = map.deviation_mm[i / columns * map.columns + first + i % columns];
    const auto q = static_cast<std::int16_t>(static_cast<unsigned char>(data.face_cells[2 * i]) |
                                             static_cast<unsigned char>(data.face_cells[2 * i + 1]) << 8);
    if (std::isnan(deviation)) {
      EXPECT_EQ(q, -32768);
      ++missing;
    } else {
      EXPECT_NEAR(q * 0.001, deviation, 0.0005 + 1e-6);
      ++seen;
    }
  }
  EXPECT_EQ(seen, seen_in_map) << "cropping leaves nothing out";
  EXPECT_GT(missing, 0U);
}

}  // namespace
}  // namespace rimwright
