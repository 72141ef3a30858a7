#include "report/read_results.h"

#include <gmock/gmock.h>
#include <gtest/gtest.h>
#include <unistd.h>

#include <cmath>
#include <filesystem>
#include <fstream>
#include <limits>

#include "made_inspection.h"
#include "report/faces_file.h"
#include "report/results_json.h"
#include "report/write_result.h"

namespace rimwright {
namespace {

using testing::HasSubstr;

std::string folder_for(const std::string& name) {
  const auto folder = std::filesystem::temp_directory_path() / ("rimwright-" + name + "-" + std::to_string(::getpid()));
  std::filesystem::remove_all(folder);
  return folder.string();
}

const ReportedTable* table(const Pass& pass, const std::string& feature) {
  for (const ReportedTable& each : pass.tables) {
    if (each.feature == feature) return &each;
  }
  return nullptr;
}

TEST(ReadResults, WhatWasWrittenIsReadBack) {
  const Inspection inspection = made_inspection();
  const std::string folder = folder_for("read-back");
  Workers workers(2);
  ASSERT_TRUE(write_result(inspection, made_context(), folder, workers).has_value());
  const Outcome<Pass> pass = read_results(folder);
  ASSERT_TRUE(pass.has_value()) << pass.error().sentence();
  EXPECT_EQ(pass->instrument, inspection.plan.instrument);
  EXPECT_EQ(pass->verdict, inspection.verdict);
  EXPECT_NEAR(pass->noise_mm, inspection.measures.scan.noise_mm, 1e-3);
  ASSERT_EQ(pass->findings.size(), inspection.findings.size());
  for (std::size_t i = 0; i < pass->findings.size(); ++i) {
    EXPECT_EQ(pass->findings[i].feature, inspection.findings[i].feature);
    EXPECT_EQ(pass->findings[i].quantity, inspection.findings[i].quantity);
    EXPECT_EQ(pass->findings[i].verdict, inspection.findings[i].verdict);
    EXPECT_NEAR(pass->findings[i].worst.value, inspection.findings[i].worst.value, 1e-3);
  }
  const ReportedTable* bevel = table(*pass, "bevel");
  ASSERT_NE(bevel, nullptr);
  ASSERT_EQ(bevel->stations.size(), inspection.measures.bevel.stations.size());
  for (std::size_t i = 0; i < bevel->stations.size(); ++i) {
    const BevelStation& made = inspection.measures.bevel.stations[i];
    EXPECT_NEAR(bevel->stations[i].station_mm, made.station_mm, 1e-3);
    EXPECT_LT((bevel->stations[i].at_scan_mm - made.at_scan_mm).norm(), 2e-3);
    EXPECT_EQ(bevel->stations[i].quantities[1].is_measured(), made.drop_mm.is_measured());
    if (made.drop_mm.is_measured()) {
      EXPECT_NEAR(bevel->stations[i].quantities[1].value, made.drop_mm.value, 1e-3);
      EXPECT_NEAR(bevel->stations[i].quantities[1].u95, made.drop_mm.u95(), 1e-3);
    }
  }
  for (const ChannelMeasures& channel : inspection.measures.channels) {
    const ReportedTable* read = table(*pass, inspection.plan.channels[channel.planned_channel].name);
    ASSERT_NE(read, nullptr);
    ASSERT_EQ(read->stations.size(), channel.stations.size());
    for (std::size_t i = 0; i < channel.stations.size(); ++i) {
      for (std::size_t k = 0; k < channel.stations[i].steps.size(); ++k) {
        const Measured& width = channel.stations[i].steps[k].width_mm;
        const Reported& got = read->stations[i].quantities[2 * k];
        EXPECT_EQ(got.is_measured(), width.is_measured());
        if (width.is_measured()) {
          EXPECT_NEAR(got.value, width.value, 1e-3);
        }
      }
    }
  }
  std::filesystem::remove_all(folder);
}

struct Refused {
  const char* name;
  const char* json;
  const char* says;
};
class RefusedResults : public testing::TestWithParam<Refused> {};

TEST_P(RefusedResults, SayWhatIsWrong) {
  const Outcome<Pass> pass = read_results_text(GetParam().json, "results.json");
  ASSERT_FALSE(pass.has_value());
  EXPECT_EQ(pass.error().reason, RefusalReason::file_malformed);
  EXPECT_THAT(pass.error().sentence(), HasSubstr(GetParam().says));
  EXPECT_THAT(pass.error().sentence(), HasSubstr("results.json"));
}

INSTANTIATE_TEST_SUITE_P(
    Results, RefusedResults,
    testing::Values(
        Refused{"empty", "", "not valid JSON"}, Refused{"broken", "{\"format\": ", "not valid JSON"},
        Refused{"a_list", "[]", "is not an object"}, Refused{"no_format", "{}", "lacks 'format'"},
        Refused{"another_format", R"({"format": "else/1"})", "rimwright-results/1"},
        Refused{"another_version", R"({"format": "rimwright-results/2"})", "rimwright-results/1"},
        Refused{"format_is_a_number", R"({"format": 1})", "is not a text"},
        Refused{"verdict_unknown", R"({"format": "rimwright-results/1", "instrument": "x", "verdict": "maybe"})",
                "none of pass"},
        Refused{"scan_is_a_list",
                R"({"format": "rimwright-results/1", "instrument": "x", "verdict": "pass", "scan": []})", "scan"},
        Refused{"station_not_a_number",
                R"({"format": "rimwright-results/1", "instrument": "x", "verdict": "pass", "scan": {},
                    "bevel": {"stations": [{"station_mm": "1", "at": [0,0,0]}]}, "findings": []})",
                "is not a number"},
        Refused{"at_has_two",
                R"({"format": "rimwright-results/1", "instrument": "x", "verdict": "pass", "scan": {},
                    "bevel": {"stations": [{"station_mm": 1, "at": [0,0]}]}, "findings": []})",
                "three coordinates"},
        Refused{"steps_do_not_match",
                R"({"format": "rimwright-results/1", "instrument": "x", "verdict": "pass", "scan": {}, "channels":
                    [{"name": "c", "planned": [{}], "stations": [{"station_mm": 1, "at": [0,0,0], "steps": []}]}],
                    "findings": []})",
                "number of steps"},
        Refused{"negative_u95",
                R"({"format": "rimwright-results/1", "instrument": "x", "verdict": "pass", "scan": {},
                    "bevel": {"stations": [{"station_mm": 1, "at": [0,0,0], "drop_mm": 1, "drop_u95_mm": -1}]},
                    "findings": []})",
                "negative"},
        Refused{"huge_number",
                R"({"format": "rimwright-results/1", "instrument": "x", "verdict": "pass", "scan": {"noise_mm": 1e999},
                    "findings": []})",
                "results.json"},
        Refused{"deep", "[[[[[[[[[[[[[[[[[[[[[[[[[[[[[[[[[[[[]]]]]]]]]]]]]]]]]]]]]]]]]]]]]]]]]]]]", "nested"}),
    [](const auto& refused) { return std::string(refused.param.name); });

TEST(ReadResults, NullsAndMissingPartsAreNotMeasured) {
  const Outcome<Pass> pass = read_results_text(
      R"({"format": "rimwright-results/1", "instrument": "x", "verdict": "undecided", "scan": {"noise_mm": null},
          "bevel": {"stations": [{"station_mm": 1, "at": [0,0,0], "angle_deg": null, "angle_u95_deg": null}],
                    "waviness_mm": null}, "block": null, "channels": [], "findings": [], "more": {"later": [1]}})",
      "results.json");
  ASSERT_TRUE(pass.has_value()) << pass.error().sentence();
  ASSERT_EQ(pass->tables.size(), 1u);
  EXPECT_FALSE(pass->tables[0].stations[0].quantities[0].is_measured());
  EXPECT_FALSE(pass->waviness_mm.is_measured());
}

// How the text is received: "" where it is read.
std::string complaint_about(const std::string& json) {
  const Outcome<Pass> pass = read_results_text(json, "results.json");
  return pass ? "" : pass.error().what;
}

std::string list_of(std::size_t count, const std::string& entry) {
  std::string list = "[";
  for (std::size_t i = 0; i < count; ++i) list += (i > 0 ? "," : "") + entry;
  return list + "]";
}

// A result with these findings, channels and further keys.
std::string result_with(const std::string& findings, const std::string& channels, const std::string& more = "") {
  return R"({"format": "rimwright-results/1", "instrument": "x", "verdict": "pass", "scan": {}, "findings": )" +
         findings + R"(, "channels": )" + channels + more + "}";
}

// The limits of the header, each met and passed by one.
TEST(ReadResults, LimitsAreWhereTheyAreStated) {
  const auto findings = [](std::size_t count) {
    return complaint_about(
        result_with(list_of(count, R"({"feature":"f","quantity":"q","from_mm":0,"to_mm":1,"verdict":"fail"})"), "[]"));
  };
  EXPECT_EQ(findings(10'000), "");
  EXPECT_THAT(findings(10'001), HasSubstr("findings has more than 10000 entries"));

  const auto channels = [](std::size_t count) {
    return complaint_about(result_with("[]", list_of(count, R"({"name":"c","planned":[],"stations":[]})")));
  };
  EXPECT_EQ(channels(64), "");
  EXPECT_THAT(channels(65), HasSubstr("channels has more than 64 entries"));

  const auto stations = [](std::size_t count) {
    const std::string table = R"({"stations":)" + list_of(count, R"({"station_mm":1,"at":[0,0,0]})") + "}";
    return complaint_about(result_with("[]", "[]", R"(,"block":)" + table));
  };
  EXPECT_EQ(stations(100'000), "");
  EXPECT_THAT(stations(100'001), HasSubstr("block.stations has more than 100000 entries"));

  const auto channel_stations = [](std::size_t count, std::size_t steps) {
    const std::string station = R"({"station_mm":1,"at":[0,0,0],"steps":)" + list_of(steps, "{}") + "}";
    return complaint_about(result_with("[]", R"([{"name":"c","planned":)" + list_of(steps, "{}") + R"(,"stations":)" +
                                                 list_of(count, station) + "}]"));
  };
  EXPECT_EQ(channel_stations(100'000, 1), "");
  EXPECT_THAT(channel_stations(100'001, 1), HasSubstr("channels.stations has more than 100000 entries"));
  EXPECT_EQ(channel_stations(1, 16), "");
  EXPECT_THAT(channel_stations(1, 17), HasSubstr("channels.planned has more than 16 entries"));

  const auto name = [](std::size_t length) {
    return complaint_about(
        result_with("[]", R"([{"name":")" + std::string(length, 'n') + R"(","planned":[],"stations":[]}])"));
  };
  EXPECT_EQ(name(4000), "");
  EXPECT_THAT(name(4001), HasSubstr("channels.name is too long"));

  // The result's own braces are one of the sixteen.
  const auto nested = [](std::size_t depth) {
    return complaint_about(
        result_with("[]", "[]", R"(,"later":)" + std::string(depth - 1, '[') + std::string(depth - 1, ']')));
  };
  EXPECT_EQ(nested(16), "");
  EXPECT_THAT(nested(17), HasSubstr("nested deeper"));

  EXPECT_EQ(complaint_about(result_with("[]", "[]", R"(,"later":"[[[[[[[[[[[[[[[[[\"[{{{")")), "")
      << "text nests nothing";

  // Two an entry, and ten commas and brackets around them.
  const auto values = [](std::size_t count) {
    return complaint_about(result_with("[]", "[]", R"(,"later":)" + list_of(count, "{}")));
  };
  EXPECT_EQ(values(1'999'995), "");
  EXPECT_THAT(values(1'999'996), HasSubstr("more values"));

  const auto sized = [](std::size_t bytes) {
    return complaint_about(std::string(bytes, 'x'));  // no JSON from the first byte on
  };
  EXPECT_THAT(sized(std::size_t{64} << 20), HasSubstr("not valid JSON"));
  EXPECT_THAT(sized((std::size_t{64} << 20) + 1), HasSubstr("larger than a result can be"));
}

TEST(ReadResults, AFolderThatIsNoResultIsRefusedByName) {
  EXPECT_EQ(read_results("no/such/folder").error().reason, RefusalReason::file_not_found);
}

PassFaces some_faces() {
  PassFaces faces;
  for (int i = 0; i < 5; ++i) {
    FacePoint point;
    point.at_scan_mm = Eigen::Vector3f(static_cast<float>(i), 2.0F, -3.5F);
    point.kind = static_cast<FaceKind>(i);
    point.station_mm = 10.0F * static_cast<float>(i);
    point.deviation_mm = i == 2 ? 0.25F : std::numeric_limits<float>::quiet_NaN();
    point.sigma_mm = 0.04F;
    faces.points.push_back(point);
  }
  faces.rim = {{0.0, {1.0, 2.0, 3.0}}, {1.5, {4.0, 5.0, 6.0}}};
  return faces;
}

std::string bytes_of(const PassFaces& faces) {
  const std::string path = folder_for("faces") + ".ply";
  EXPECT_TRUE(write_faces(path, faces).has_value());
  std::ifstream file(path, std::ios::binary);
  std::string bytes((std::istreambuf_iterator<char>(file)), std::istreambuf_iterator<char>());
  std::filesystem::remove(path);
  return bytes;
}

TEST(FacesFile, WhatWasWrittenIsReadBack) {
  const PassFaces faces = some_faces();
  const Outcome<PassFaces> read = read_faces_bytes(bytes_of(faces), "faces.ply");
  ASSERT_TRUE(read.has_value()) << read.error().sentence();
  ASSERT_EQ(read->points.size(), faces.points.size());
  for (std::size_t i = 0; i < faces.points.size(); ++i) {
    EXPECT_EQ(read->points[i].at_scan_mm, faces.points[i].at_scan_mm);
    EXPECT_EQ(read->points[i].kind, faces.points[i].kind);
    EXPECT_EQ(read->points[i].station_mm, faces.points[i].station_mm);
    EXPECT_EQ(std::isnan(read->points[i].deviation_mm), std::isnan(faces.points[i].deviation_mm));
  }
  ASSERT_EQ(read->rim.size(), 2u);
  EXPECT_EQ(read->rim[1].at_scan_mm, faces.rim[1].at_scan_mm);
}

TEST(FacesFile, EveryTruncationAndEveryLyingCountIsRefused) {
  const std::string bytes = bytes_of(some_faces());
  for (std::size_t length = 0; length < bytes.size(); ++length) {
    EXPECT_FALSE(read_faces_bytes(std::string_view(bytes).substr(0, length), "faces.ply").has_value()) << length;
  }
  EXPECT_FALSE(read_faces_bytes(bytes + "x", "faces.ply").has_value());
  for (const char* count : {"6", "4", "-1", "99999999999999999999", "200001"}) {
    std::string lying = bytes;
    lying.replace(lying.find("vertex 5") + 7, 1, count);
    EXPECT_FALSE(read_faces_bytes(lying, "faces.ply").has_value()) << count;
  }
}

TEST(FacesFile, HoldsSoManyPointsAndNoMore) {
  const auto is_read = [](std::size_t points, std::size_t rim_points) {
    PassFaces faces;
    faces.points.resize(points, some_faces().points[0]);
    faces.rim.resize(rim_points);
    return read_faces_bytes(bytes_of(faces), "faces.ply").has_value();
  };
  EXPECT_TRUE(is_read(200'000, 100'000));
  EXPECT_FALSE(is_read(200'001, 100'000));
  EXPECT_FALSE(is_read(200'000, 100'001));

  // What is written is thinned to that.
  Measures measures;
  measures.face_points.resize(2 * most_face_points + 1, some_faces().points[0]);
  measures.rim_scan_mm.resize(100'001);
  measures.rim_station_mm.resize(100'001);
  const PassFaces thinned = faces_of(measures);
  EXPECT_EQ(thinned.points.size(), (2 * most_face_points + 1 + 2) / 3);  // every third
  EXPECT_TRUE(read_faces_bytes(bytes_of(thinned), "faces.ply").has_value());
}

TEST(FacesFile, NumbersThatAreNotFiniteAndUnknownFacesAreRefused) {
  PassFaces faces = some_faces();
  faces.points[3].at_scan_mm[1] = std::numeric_limits<float>::infinity();
  EXPECT_FALSE(read_faces_bytes(bytes_of(faces), "faces.ply").has_value());
  faces = some_faces();
  faces.points[3].kind = static_cast<FaceKind>(9);
  EXPECT_FALSE(read_faces_bytes(bytes_of(faces), "faces.ply").has_value());
  faces = some_faces();
  faces.rim[0].station_mm = std::nan("");
  EXPECT_FALSE(read_faces_bytes(bytes_of(faces), "faces.ply").has_value());
}

}  // namespace
}  // namespace rimwright
