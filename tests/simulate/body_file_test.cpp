#include "simulate/body_file.h"

#include <gmock/gmock.h>
#include <gtest/gtest.h>
#include <unistd.h>

#include <cstring>
#include <filesystem>
#include <fstream>

#include "simulate/write_scan.h"

namespace rimwright {
namespace {

const std::string sound = R"(name: Plain (invented)
outline: {pieces: [{length: 300, radius: 220}]}
bevel: {angle: 124, drop: 16, from: 40, to: 260}
)";

TEST(BodyFile, ReadsEverything) {
  auto file = parse_body_file(sound + R"(left_handed: true
top: {dome_radius: 5000, dome_centre: [10, 20], modelled_inward: 60}
side: {lean: -2, height: 70}
channels:
  - {name: edge, corner: top-side, steps: [{width: 2, depth: 6}, {width: 2.6, depth: 1.7}], corner_radius: 0.2, from: 5, to: 200}
defects:
  - {kind: channel-depth, channel: edge, step: 2, size: -0.3, from: 20, to: 60}
  - {kind: hump, at: 150, across: 0.4, length: 30, width: 14, size: 0.45}
  - {kind: tear-out, face: top, at: 150, across: 8, length: 30, width: 14, size: 0.45}
scan: {density: 10, unit: inch, pose: body, clamps: [{at: 50}], normals: true, band: 3}
)");
  ASSERT_FALSE(file);
  EXPECT_THAT(file.error().sentence(), testing::HasSubstr("unknown key 'band'"));
  file = parse_body_file(sound + R"(left_handed: true
top: {dome_radius: 5000, dome_centre: [10, 20], modelled_inward: 60}
side: {lean: -2, height: 70}
channels:
  - {name: edge, corner: top-side, steps: [{width: 2, depth: 6}, {width: 2.6, depth: 1.7}], corner_radius: 0.2, from: 5, to: 200}
defects:
  - {kind: channel-depth, channel: edge, step: 2, size: -0.3, from: 20, to: 60}
  - {kind: hump, at: 150, across: 0.4, length: 30, width: 14, size: 0.45}
  - {kind: tear-out, face: top, at: 150, across: 8, length: 30, width: 14, size: 0.45}
scan: {density: 10, unit: inch, pose: body, clamps: [{at: 50}], normals: true}
plan: {angle_tolerance: 0.5, block: {top: 40, side: 24, keep: 3}, band: [8, 60]}
)");
  ASSERT_TRUE(file) << file.error().sentence();
  EXPECT_TRUE(file->body.left_handed);
  EXPECT_EQ(file->body.top.dome_radius_mm, 5000.0);
  EXPECT_EQ(file->body.side.lean_deg, -2.0);
  EXPECT_EQ(file->body.bevel->start_run_out_mm, 60.0);
  ASSERT_EQ(file->body.channels.size(), 1u);
  EXPECT_EQ(*file->body.channels[0].to_mm, 200.0);
  ASSERT_EQ(file->body.defects.size(), 3u);
  EXPECT_EQ(file->body.defects[0].step, 1);
  EXPECT_EQ(file->body.defects[2].face, BodyFace::top);
  EXPECT_EQ(file->scanner.mm_per_unit, 25.4);
  EXPECT_FALSE(file->scanner.random_pose);
  EXPECT_EQ(file->scanner.band_mm[1], 60.0);
  EXPECT_EQ((*file->plan.block_top_side_keep_mm)[0], 40.0);
}

struct BadCase {
  const char* text;
  const char* says;  // must be in the sentence
};

TEST(BodyFile, RefusesWithPlaceAndNearestKey) {
  const BadCase cases[] = {
      {"", "not a map"},
      {"- 1", "not a map"},
      {"name: x", "no 'outline'"},
      {"name: [x]\noutline: {}", "line 1, column 7"},
      {"name: \"a\\x1b[31m\"\noutline: {}", "can be shown"},
      {"name: J\xfcrgen\noutline: {}", "UTF-8"},
      {"name: x\noutline: {pieces: [{length: 300, radius: 220}]}\nbevle: {}", "line 3, column 1"},
      {"name: x\noutline: {pieces: [{length: 300, radius: 220}]}\nbevle: {}", "did you mean 'bevel'?"},
      {"name: x\noutline: {pieces: [{length: abc, radius: 220}]}", "'abc', not a number"},
      {"name: x\noutline: {pieces: [{length: .nan, radius: 220}]}", "not a number"},
      {"name: x\noutline: {pieces: [{length: -5, radius: 220}]}", "length is '-5'"},
      {"name: x\noutline: {points: [[1, 2, 3]]}", "list of 2 numbers"},
      {"name: x\noutline: {pieces: 7}", "write it as a list"},
      {"name: x\nname: y\noutline: {pieces: [{length: 300, radius: 220}]}", "twice"},
      {"name: x\noutline: {pieces: [{length: 300, radius: 220}]}\nleft_handed: maybe", "true or false"},
      {"name: x\noutline: {pieces: [{length: 300, radius: 220}]}\nchannels: [{name: a, corner: top-left}]",
       "top-side, top-bevel, side-bevel"},
      {"name: x\noutline: {pieces: [{length: 300, radius: 220}]}\n"
       "defects: [{kind: channel-depth, channel: b, size: 1, from: 1, to: 9}]",
       "there is no channel 'b'"},
      {"name: x\noutline: {pieces: [{length: 300, radius: 220}]}\nscan: {holes: 1.5}", "whole number"},
      {"name: 'x\noutline", "not YAML"},
      {"name: x\noutline: *nowhere", "not YAML"},
  };
  for (const BadCase& bad : cases) {
    const auto file = parse_body_file(bad.text);
    ASSERT_FALSE(file) << bad.text;
    EXPECT_EQ(file.error().reason, RefusalReason::plan_not_valid);
    EXPECT_THAT(file.error().sentence(), testing::HasSubstr(bad.says)) << bad.text;
  }
}

TEST(BodyFile, ImpossibleBodiesAreRefused) {
  const std::pair<const char*, const char*> cases[] = {
      {"bevel: {angle: 124, drop: 16, from: 40, to: 560}", "does not fit"},
      {"bevel: {angle: 124, drop: 58, from: 40, to: 260}", "drop is out of range"},
      {"top: {dome_radius: 50}", "dome radius"},
      {"channels: [{name: a, corner: top-bevel, steps: [{width: 2, depth: 2}]}]", "bevel that is not there"},
      {"channels: [{name: a, corner: top-side, steps: [{width: 3, depth: 2}, {width: 2, depth: 3}]}]", "step 2"},
      {"channels: [{name: a, corner: top-side}]", "no steps"},
      {"channels: [{name: a, corner: top-side, steps: [{width: 7, depth: 2}]}]", "cutter's radius"},
      {"channels: [{name: a, corner: top-side, from: 3, steps: [{width: 1, depth: 2}]}]", "only one end"},
      {"defects: [{kind: hump, size: 5, at: 100, length: 10, width: 10}]", "too steep"},
      {"defects: [{kind: wave, size: 0.4, wavelength: 30, from: 100, to: 900}]", "off the rim"},
  };
  for (const auto& [extra, says] : cases) {
    const auto file =
        parse_body_file(std::string("name: x\noutline: {pieces: [{length: 300, radius: 220}]}\n") + extra);
    ASSERT_TRUE(file) << file.error().sentence();
    const auto body = Body::from(file->body);
    ASSERT_FALSE(body) << extra;
    EXPECT_THAT(body.error().sentence(), testing::HasSubstr(says)) << extra;
  }
  for (const char* outline : {"{pieces: [{length: 300, radius: 30}]}", "{points: [[0, 0], [100, 0]]}",
                              "{closed: true, points: [[0, 0], [0, 100], [100, 100], [100, 0]]}", "{}",
                              "{pieces: [{length: 20, radius: 0}]}"}) {
    const auto file = parse_body_file(std::string("name: x\noutline: ") + outline);
    ASSERT_TRUE(file);
    EXPECT_FALSE(Body::from(file->body)) << outline;
  }
}

TEST(BodyFile, MissingAndOversizedFiles) {
  EXPECT_EQ(read_body_file("no-such-file.yaml").error().reason, RefusalReason::file_not_found);
  EXPECT_EQ(read_body_file(".").error().reason, RefusalReason::file_not_readable);
  const auto path = std::filesystem::temp_directory_path() / ("rimwright-body-" + std::to_string(::getpid()));
  for (const std::size_t bytes : {std::size_t{1} << 20, (std::size_t{1} << 20) + 1}) {
    std::ofstream(path) << std::string(bytes, ' ');
    EXPECT_EQ(read_body_file(path.string()).error().reason,
              bytes == std::size_t{1} << 20 ? RefusalReason::plan_not_valid : RefusalReason::file_over_limit);
  }
  std::filesystem::remove(path);
}

// Every body that comes with the program can be built, and its plan's steps are its own.
TEST(BodyFile, SampleBodiesAreBuilt) {
  int bodies = 0;
  for (const auto& entry : std::filesystem::directory_iterator(RIMWRIGHT_SAMPLES "/bodies")) {
    if (entry.path().extension() != ".yaml") continue;
    const auto file = read_body_file(entry.path());
    ASSERT_TRUE(file) << file.error().sentence();
    const auto body = Body::from(file->body);
    ASSERT_TRUE(body) << entry.path() << ": " << body.error().sentence();
    EXPECT_THAT(file->body.name, testing::HasSubstr("invented"));
    EXPECT_THAT(plan_yaml(body->spec(), file->plan), testing::HasSubstr("instrument: "));
    ++bodies;
  }
  EXPECT_GE(bodies, 20);
}

// The body file that the sample bodies' README shows key by key is a body.
TEST(BodyFile, TheDocumentedExampleIsABody) {
  std::ifstream readme(RIMWRIGHT_SAMPLES "/bodies/README.md");
  std::string line, text;
  while (std::getline(readme, line)) {
    if (text.empty() && line.rfind("    name:", 0) != 0) continue;
    if (line.rfind("    ", 0) != 0) break;
    text += line.substr(4) + "\n";
  }
  const auto file = parse_body_file(text);
  ASSERT_TRUE(file) << file.error().sentence();
  const auto body = Body::from(file->body);
  ASSERT_TRUE(body) << body.error().sentence();
  EXPECT_NEAR(body->rim_length_mm(), 540.0, 1e-9);
  EXPECT_EQ(file->body.defects.size(), 11u);
}

TEST(WriteScan, PlyHoldsTheCloudInItsUnit) {
  Cloud cloud;
  cloud.origin_mm = {100.0, 0.0, 0.0};
  cloud.x = {1.6f};
  cloud.y = {25.4f};
  cloud.z = {-50.8f};
  cloud.scale.factor = 25.4;
  const std::string ply = ply_of(cloud);
  const std::size_t header = ply.find("end_header\n") + 11;
  ASSERT_EQ(ply.size(), header + 12);
  float xyz[3];
  std::memcpy(xyz, ply.data() + header, 12);
  EXPECT_FLOAT_EQ(xyz[0], 4.0f);
  EXPECT_FLOAT_EQ(xyz[1], 1.0f);
  EXPECT_FLOAT_EQ(xyz[2], -2.0f);
}

TEST(WriteScan, WritesAllThreeFilesOrSaysWhyNot) {
  auto file = parse_body_file(sound + "scan: {density: 0.5, far_density: 0.5}\n");
  ASSERT_TRUE(file);
  auto body = Body::from(file->body);
  ASSERT_TRUE(body);
  const auto scan = scan_cloud(*body, file->scanner, 1);
  ASSERT_TRUE(scan);
  const std::filesystem::path folder =
      std::filesystem::temp_directory_path() / ("rimwright-write-scan-" + std::to_string(::getpid()));
  ASSERT_TRUE(write_scan(folder, *body, *file, *scan, 1));
  std::vector<std::string> names;
  for (const auto& entry : std::filesystem::directory_iterator(folder)) names.push_back(entry.path().filename());
  EXPECT_THAT(names, testing::UnorderedElementsAre("scan.ply", "truth.json", "plan.yaml"));
  const auto refused = write_scan(folder / "scan.ply", *body, *file, *scan, 1);
  ASSERT_FALSE(refused);
  EXPECT_EQ(refused.error().reason, RefusalReason::output_not_writable);
  std::filesystem::remove_all(folder);
}

}  // namespace
}  // namespace rimwright
