// Kept work is believed only when it is whole and of the same making.
#include "capture/photos/work_folder.h"

#include <gtest/gtest.h>
#include <unistd.h>

#include <fstream>
#include <limits>
#include <sstream>

#include "capture/photos/kept_bytes.h"

namespace rimwright {
namespace {

namespace fs = std::filesystem;

class KeptWork : public testing::Test {
 protected:
  void SetUp() override { fs::remove_all(folder); }
  void TearDown() override { fs::remove_all(folder); }
  [[nodiscard]] fs::path only_file() const { return fs::directory_iterator(folder)->path(); }

  fs::path folder = fs::path(testing::TempDir()) / ("work" + std::to_string(getpid()));
};

std::vector<Patch> some_patches() {
  Patch patch;
  patch.at_sheet_mm = Vector3(1.5, -2.25, 0.125);
  patch.sigma_mm = 0.003;
  patch.half_across_mm = 0.3;
  patch.photos = {3, 1, 4};
  Patch other = patch;
  other.normal_sheet = Vector3::UnitY();
  other.photos = {0};
  return {patch, other};
}

// What a target of `corners` corners shows in a photo of 64 by 32 pixels with one feature.
SeenInPhoto some_sight() {
  SeenInPhoto seen;
  seen.corners = {{5, Vector2(10.5, 20.25)}};
  seen.features.pixels = {Vector2(40.0, 8.0)};
  seen.features.descriptors.assign(Features::length, 45);
  seen.features.cells_across = 2, seen.features.cells_down = 1;
  seen.features.cells = {{}, {0}};
  return seen;
}

// Two photos by one lens that see one point.
PlacedCameras some_cameras() {
  PlacedCameras cameras;
  CameraNetwork& n = cameras.network;
  n.lenses = {{3000.0, 2000.0, 1500.0, 0.1, -0.2, 0.0, 0.0}};
  n.lens_of = {0, 0};
  n.T_camera_sheet.assign(2, Transform::Identity());
  n.focal_factor = {1.0, 1.001};
  n.centre_shift_px.assign(2, Vector2::Zero());
  n.placed = {true, false};
  n.size_px.assign(2, Vector2(4000.0, 3000.0));
  n.points = {{Vector3(1.0, 2.0, 0.0), Vector3(1.0, 2.0, 0.0), Vector3(0.1, 0.1, 0.3), true}};
  n.sightings = {{1, 0, Vector2(12.0, 13.0)}};
  cameras.adjusted.photo_rms_px = {0.1, 0.0};
  cameras.seeds = some_patches();
  for (Patch& seed : cameras.seeds) seed.photos = {1, 0};
  return cameras;
}

constexpr double not_a_number = std::numeric_limits<double>::quiet_NaN();

TEST_F(KeptWork, ComesBackAsItWas) {
  WorkFolder first(folder);
  first.keep("surface", "key", bytes_of(some_patches()));
  EXPECT_FALSE(fs::exists(folder));  // nothing on the disk before it is asked for
  first.write();
  WorkFolder second(folder);
  const auto bytes = second.find("surface", "key");
  ASSERT_TRUE(bytes);
  const auto patches = patches_from(*bytes, 5);
  ASSERT_TRUE(patches);
  ASSERT_EQ(patches->size(), 2u);
  EXPECT_EQ((*patches)[0].at_sheet_mm, some_patches()[0].at_sheet_mm);
  EXPECT_EQ((*patches)[0].photos, some_patches()[0].photos);
  EXPECT_EQ((*patches)[0].half_across_mm, 0.3);
  EXPECT_FALSE(second.find("surface", "another key"));
  EXPECT_FALSE(second.find("cameras", "key"));
  EXPECT_EQ(second.damaged(), 0u);  // not there is not damaged
}

TEST_F(KeptWork, AnyChangedOrMissingByteIsNoticed) {
  WorkFolder first(folder);
  first.keep("surface", "key", bytes_of(some_patches()));
  first.write();
  std::stringstream text;
  text << std::ifstream(only_file(), std::ios::binary).rdbuf();
  const std::string whole = text.str();
  for (std::size_t at = 0; at < whole.size(); at += 7) {
    std::string changed = whole;
    changed[at] = static_cast<char>(changed[at] ^ 0x20);
    std::ofstream(only_file(), std::ios::binary | std::ios::trunc) << changed;
    WorkFolder again(folder);
    EXPECT_FALSE(again.find("surface", "key")) << "byte " << at;
    EXPECT_EQ(again.damaged(), 1u);
    std::ofstream(only_file(), std::ios::binary | std::ios::trunc) << whole.substr(0, at);
    EXPECT_FALSE(WorkFolder(folder).find("surface", "key")) << "cut at " << at;
  }
}

TEST_F(KeptWork, WorkBeyondTheLargestIsNeitherKeptNorBelieved) {
  const std::string work(1000, 'w');
  WorkFolder first(folder);
  first.keep("surface", "key", work);
  first.write();
  const std::uint64_t size = fs::file_size(only_file());
  WorkFolder just(folder, size), below(folder, size - 1);
  EXPECT_EQ(just.find("surface", "key"), work);
  EXPECT_EQ(just.damaged(), 0u);
  EXPECT_FALSE(below.find("surface", "key"));
  EXPECT_EQ(below.damaged(), 1u);
  fs::remove_all(folder);
  below.keep("surface", "key", work);
  below.write();
  EXPECT_FALSE(first.find("surface", "key"));
  just.keep("surface", "key", work);
  just.write();
  EXPECT_EQ(first.find("surface", "key"), work);
  EXPECT_EQ(first.damaged(), 0u);
}

TEST_F(KeptWork, APhotoThatIsNotThereIsRefused) {
  const std::string bytes = bytes_of(some_patches());  // of photos 3, 1 and 4
  EXPECT_TRUE(patches_from(bytes, 5));
  EXPECT_FALSE(patches_from(bytes, 4));
}

TEST_F(KeptWork, BytesThatAreNoResultAreRefused) {
  const std::string bytes = bytes_of(some_patches());
  EXPECT_FALSE(patches_from(bytes + "x", 5));
  EXPECT_FALSE(patches_from(std::string_view(bytes).substr(0, bytes.size() - 1), 5));
  const std::string claims_much(8, '\x7f');  // a count of 9e18
  EXPECT_FALSE(patches_from(claims_much, 5));
  EXPECT_FALSE(cameras_from(claims_much, 5));
  EXPECT_FALSE(seen_from(claims_much, 88));
}

TEST_F(KeptWork, PatchesThatCannotBeAreRefused) {
  const auto refused = [](auto change) {
    std::vector<Patch> patches = some_patches();
    change(patches[1]);
    return !patches_from(bytes_of(patches), 5);
  };
  EXPECT_FALSE(refused([](Patch&) {}));
  EXPECT_TRUE(refused([](Patch& p) { p.photos.clear(); }));
  EXPECT_TRUE(refused([](Patch& p) { p.at_sheet_mm.z() = not_a_number; }));
  EXPECT_TRUE(refused([](Patch& p) { p.at_sheet_mm.x() = 1e9; }));
  EXPECT_TRUE(refused([](Patch& p) { p.normal_sheet *= 2.0; }));
  EXPECT_TRUE(refused([](Patch& p) { p.along_sheet.setZero(); }));
  EXPECT_TRUE(refused([](Patch& p) { p.sigma_mm = -0.001; }));
}

TEST_F(KeptWork, CamerasThatCannotBeAreRefused) {
  const auto refused = [](auto change) {
    PlacedCameras cameras = some_cameras();
    change(cameras);
    return !cameras_from(bytes_of(cameras), 2);
  };
  EXPECT_FALSE(refused([](PlacedCameras&) {}));
  EXPECT_FALSE(cameras_from(bytes_of(some_cameras()), 3));
  EXPECT_TRUE(refused([](PlacedCameras& c) { c.network.lens_of[1] = 1; }));
  EXPECT_TRUE(refused([](PlacedCameras& c) { c.network.lenses[0].focal_px = 0.0; }));
  EXPECT_TRUE(refused([](PlacedCameras& c) { c.network.T_camera_sheet[0](0, 3) = not_a_number; }));
  EXPECT_TRUE(refused([](PlacedCameras& c) { c.network.size_px[0].x() = 1e12; }));
  EXPECT_TRUE(refused([](PlacedCameras& c) { c.network.sightings[0].point = 1; }));
  EXPECT_TRUE(refused([](PlacedCameras& c) { c.network.sightings[0].photo = 2; }));
  EXPECT_TRUE(refused([](PlacedCameras& c) { c.network.placed.pop_back(); }));
  EXPECT_TRUE(refused([](PlacedCameras& c) { c.adjusted.photo_rms_px.push_back(0.1); }));
  EXPECT_TRUE(refused([](PlacedCameras& c) { c.seeds[0].photos = {2}; }));
}

TEST_F(KeptWork, FeaturesThatCannotBeAreRefused) {
  const auto refused = [](auto change) {
    SeenInPhoto seen = some_sight();
    change(seen);
    return !seen_from(bytes_of(seen), 6);
  };
  EXPECT_FALSE(refused([](SeenInPhoto&) {}));
  EXPECT_FALSE(seen_from(bytes_of(some_sight()), 5));  // a target whose corners end at 4
  EXPECT_TRUE(refused([](SeenInPhoto& s) { s.corners[0].index = -1; }));
  EXPECT_TRUE(refused([](SeenInPhoto& s) { s.features.descriptors.push_back(0); }));
  EXPECT_TRUE(refused([](SeenInPhoto& s) { s.features.descriptors.clear(); }));
  EXPECT_TRUE(refused([](SeenInPhoto& s) { s.features.cells_down = 2; }));
  EXPECT_TRUE(refused([](SeenInPhoto& s) { s.features.cells[1][0] = 1; }));
  EXPECT_TRUE(refused([](SeenInPhoto& s) { s.features.pixels[0].y() = not_a_number; }));
}

TEST_F(KeptWork, WhatARunDoesNotUseIsRemoved) {
  WorkFolder first(folder);
  first.keep("features", "old photo", "1");
  first.keep("features", "photo", "2");
  first.write();
  WorkFolder second(folder);
  EXPECT_TRUE(second.find("features", "photo"));
  second.remove_unused();
  EXPECT_TRUE(WorkFolder(folder).find("features", "photo"));
  EXPECT_FALSE(WorkFolder(folder).find("features", "old photo"));
}

TEST(NoWorkFolder, KeepsNothing) {
  WorkFolder none{fs::path()};
  none.keep("features", "key", "1");
  none.write();
  none.remove_unused();
  EXPECT_FALSE(none.find("features", "key"));
}

}  // namespace
}  // namespace rimwright
