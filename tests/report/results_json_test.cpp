#include "report/results_json.h"

#include <gtest/gtest.h>

#include <cmath>
#include <limits>
#include <nlohmann/json.hpp>

#include "made_inspection.h"
#include "report/read_results.h"

namespace rimwright {
namespace {

using Json = nlohmann::json;

TEST(ResultsJson, HoldsEveryKeyOthersDependOn) {
  const Json root = Json::parse(results_json(made_inspection(), made_context()));
  EXPECT_EQ(root.at("format"), "rimwright-results/1");
  EXPECT_EQ(root.at("units"), "mm");
  EXPECT_EQ(root.at("verdict"), "fail");
  for (const char* key : {"points", "noise_mm", "spacing_mm", "scale", "scale_source", "rim_length_mm"}) {
    EXPECT_TRUE(root.at("scan").contains(key)) << key;
  }
  const Json& bevel = root.at("bevel");
  for (const char* key : {"station_mm", "at", "angle_deg", "angle_u95_deg", "drop_mm", "drop_u95_mm", "top_reach_mm",
                          "top_reach_u95_mm", "straightness_mm", "straightness_u95_mm"}) {
    EXPECT_TRUE(bevel.at("stations").at(0).contains(key)) << key;
  }
  for (const char* key : {"waviness_mm", "waviness_u95_mm", "lower_edge_fairness_mm", "upper_edge_fairness_mm"}) {
    EXPECT_TRUE(bevel.contains(key)) << key;
  }
  for (const char* key : {"station_mm", "at", "top_left_mm", "top_left_u95_mm", "side_left_mm", "side_left_u95_mm"}) {
    EXPECT_TRUE(root.at("block").at("stations").at(0).contains(key)) << key;
  }
  const Json& channel = root.at("channels").at(0);
  EXPECT_EQ(channel.at("name"), "edge binding");
  EXPECT_EQ(channel.at("corner"), "top-side");
  EXPECT_NEAR(channel.at("planned").at(0).at("depth_mm").get<double>(), 5.85, 1e-9);
  for (const char* key : {"width_mm", "width_u95_mm", "depth_mm", "depth_u95_mm"}) {
    EXPECT_TRUE(channel.at("stations").at(0).at("steps").at(1).contains(key)) << key;
  }
  const Json& finding = root.at("findings").at(0);
  for (const char* key : {"feature", "quantity", "from_mm", "to_mm", "verdict", "worst", "advice"}) {
    EXPECT_TRUE(finding.contains(key)) << key;
  }
  for (const char* key : {"value", "u95", "limit", "station_mm"}) EXPECT_TRUE(finding.at("worst").contains(key)) << key;
}

// Every number is the one that was measured, to the five decimals that are written.
TEST(ResultsJson, NumbersAreTheMeasuredOnes) {
  constexpr double half_last = 0.5e-5 + 1e-12;
  Inspection inspection = made_inspection();
  inspection.scale.factor = 1.0123;
  const Measures& measures = inspection.measures;
  const Json root = Json::parse(results_json(inspection, made_context()));
  const auto expect_same = [&](const Json& object, const std::string& name, const std::string& unit,
                               const Measured& measured) {
    const Json& value = object.at(name + unit);
    const Json& u95 = object.at(name + "_u95" + unit);
    if (!measured.is_measured()) {
      EXPECT_TRUE(value.is_null() && u95.is_null()) << name;
      return;
    }
    EXPECT_NEAR(value.get<double>(), measured.value, half_last) << name;
    EXPECT_NEAR(u95.get<double>(), measured.u95(), half_last) << name;
  };
  EXPECT_NEAR(root.at("scan").at("scale").get<double>(), 1.0123, half_last);
  EXPECT_NEAR(root.at("scan").at("noise_mm").get<double>(), measures.scan.noise_mm, half_last);
  const Json& bevel = root.at("bevel");
  for (std::size_t i = 0; i < measures.bevel.stations.size(); ++i) {
    const BevelStation& station = measures.bevel.stations[i];
    const Json& written = bevel.at("stations").at(i);
    EXPECT_NEAR(written.at("station_mm").get<double>(), station.station_mm, half_last);
    for (int axis = 0; axis < 3; ++axis)
      EXPECT_NEAR(written.at("at").at(axis).get<double>(), station.at_scan_mm[axis], half_last);
    expect_same(written, "angle", "_deg", station.angle_deg);
    expect_same(written, "drop", "_mm", station.drop_mm);
    expect_same(written, "top_reach", "_mm", station.top_reach_mm);
    expect_same(written, "straightness", "_mm", station.straightness_mm);
  }
  expect_same(bevel, "waviness", "_mm", measures.bevel.waviness_mm);
  expect_same(bevel, "lower_edge_fairness", "_mm", measures.bevel.lower_edge_fairness_mm);
  expect_same(bevel, "upper_edge_fairness", "_mm", measures.bevel.upper_edge_fairness_mm);
  ASSERT_FALSE(measures.block.empty());
  for (std::size_t i = 0; i < measures.block.size(); ++i) {
    const Json& written = root.at("block").at("stations").at(i);
    expect_same(written, "top_left", "_mm", measures.block[i].top_left_mm);
    expect_same(written, "side_left", "_mm", measures.block[i].side_left_mm);
  }
  for (std::size_t c = 0; c < inspection.plan.channels.size(); ++c) {
    const PlannedChannel& planned = inspection.plan.channels[c];
    const Json& channel = root.at("channels").at(c);
    for (std::size_t k = 0; k < planned.steps.size(); ++k) {
      EXPECT_NEAR(channel.at("planned").at(k).at("width_mm").get<double>(), planned.steps[k].width_mm, half_last);
      EXPECT_NEAR(channel.at("planned").at(k).at("depth_mm").get<double>(), planned.steps[k].depth_mm, half_last);
    }
    ASSERT_EQ(measures.channels.at(c).planned_channel, c);
    for (std::size_t i = 0; i < measures.channels[c].stations.size(); ++i)
      for (std::size_t k = 0; k < planned.steps.size(); ++k) {
        const Json& written = channel.at("stations").at(i).at("steps").at(k);
        expect_same(written, "width", "_mm", measures.channels[c].stations[i].steps[k].width_mm);
        expect_same(written, "depth", "_mm", measures.channels[c].stations[i].steps[k].depth_mm);
      }
  }
  ASSERT_FALSE(inspection.findings.empty());
  for (std::size_t i = 0; i < inspection.findings.size(); ++i) {
    const Finding& finding = inspection.findings[i];
    const Json& written = root.at("findings").at(i);
    EXPECT_EQ(written.at("verdict"), std::string(name_of(finding.verdict)));
    EXPECT_NEAR(written.at("from_mm").get<double>(), finding.from_mm, half_last);
    EXPECT_NEAR(written.at("to_mm").get<double>(), finding.to_mm, half_last);
    if (!std::isfinite(finding.worst.value)) continue;
    EXPECT_NEAR(written.at("worst").at("value").get<double>(), finding.worst.value, half_last);
    EXPECT_NEAR(written.at("worst").at("u95").get<double>(), finding.worst.u95, half_last);
    EXPECT_NEAR(written.at("worst").at("limit").get<double>(), finding.worst.limit, half_last);
  }
  const Json& angle = root.at("limits").at(0);
  EXPECT_NEAR(angle.at("lower").get<double>(), inspection.plan.bevel->angle_deg.lower_limit(), half_last);
  EXPECT_NEAR(angle.at("upper").get<double>(), inspection.plan.bevel->angle_deg.upper_limit(), half_last);
}

TEST(ResultsJson, WhatWasNotMeasuredIsNullWithItsReason) {
  const Json root = Json::parse(results_json(made_inspection(), made_context()));
  int nulls = 0;
  for (const Json& station : root.at("bevel").at("stations")) {
    if (!station.at("straightness_mm").is_null()) continue;
    ++nulls;
    EXPECT_TRUE(station.at("straightness_u95_mm").is_null());
    EXPECT_EQ(station.at("why_null").at("straightness_mm"), "a clamp hides the face");
  }
  EXPECT_EQ(nulls, 5);  // stations 301 to 305
  EXPECT_TRUE(root.at("bevel").at("upper_edge_fairness_mm").is_null());
}

TEST(ResultsJson, APlanWithoutABevelOrBlockSaysNull) {
  Inspection inspection = made_inspection();
  inspection.plan.bevel.reset();
  inspection.plan.block.reset();
  const Json root = Json::parse(results_json(inspection, made_context()));
  EXPECT_TRUE(root.at("bevel").is_null());
  EXPECT_TRUE(root.at("block").is_null());
}

TEST(ResultsJson, NumbersAreFiniteOrNullWhateverComesIn) {
  Inspection inspection = made_inspection();
  inspection.measures.scan.noise_mm = std::numeric_limits<double>::quiet_NaN();
  inspection.measures.bevel.stations[0].at_scan_mm.x() = std::numeric_limits<double>::infinity();
  const std::string text = results_json(inspection, made_context());
  const Json root = Json::parse(text);
  EXPECT_TRUE(root.at("scan").at("noise_mm").is_null());
  EXPECT_EQ(text.find("nan"), std::string::npos);
  EXPECT_EQ(text.find("-0.0,"), std::string::npos);
}

TEST(ResultsJson, SameInputSameBytes) {
  EXPECT_EQ(results_json(made_inspection(), made_context()), results_json(made_inspection(), made_context()));
}

TEST(ResultsJson, HostileNamesStayText) {
  Inspection inspection = made_inspection();
  inspection.plan.instrument = "a\"b\\c\n\x01</script>\xFF";
  const Json root = Json::parse(results_json(inspection, made_context()));
  EXPECT_EQ(root.at("instrument"), "a\"b\\c\n\x01</script>\xEF\xBF\xBD");
}

TEST(ResultsJson, BudgetsNameTheLargestSource) {
  const Json root = Json::parse(results_json(made_inspection(), made_context()));
  const Json& budget = root.at("budgets").at(0);
  EXPECT_EQ(budget.at("quantity"), "angle");
  EXPECT_EQ(budget.at("in_words").get<std::string>().rfind("mostly scatter of the scanned points", 0), 0U);
}

// What is written must be what `compare` and `history` read back.
TEST(ResultsJson, ReadsBack) {
  const Inspection inspection = made_inspection();
  const Outcome<Pass> pass = read_results_text(results_json(inspection, made_context()), "made");
  ASSERT_TRUE(pass) << pass.error().sentence();
  EXPECT_EQ(pass->verdict, Verdict::fail);
  EXPECT_EQ(pass->findings.size(), inspection.findings.size());
  ASSERT_FALSE(pass->tables.empty());
  EXPECT_EQ(pass->tables[0].stations.size(), inspection.measures.bevel.stations.size());
}

}  // namespace
}  // namespace rimwright
