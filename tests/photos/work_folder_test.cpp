// Kept work is believed only when it is whole and of the same making.
#include "capture/photos/work_folder.h"

#include <gtest/gtest.h>
#include <unistd.h>

#include <fstream>
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
  return {patch, Patch{}};
}

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
  EXPECT_FALSE(seen_from(claims_much));
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
