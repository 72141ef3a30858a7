#include "report/keep_result.h"

#include <gtest/gtest.h>
#include <sys/wait.h>
#include <unistd.h>

#include <filesystem>
#include <fstream>
#include <set>
#include <thread>

namespace rimwright {
namespace {

namespace fs = std::filesystem;

class KeepResult : public testing::Test {
 protected:
  void SetUp() override {
    root_ = fs::temp_directory_path() / ("rimwright-keep-" + std::to_string(::getpid()));
    fs::remove_all(root_);
    fs::create_directories(root_);
  }
  void TearDown() override { fs::remove_all(root_); }

  std::string result(const std::string& name, const std::string& text) {
    fs::create_directories(root_ / name);
    std::ofstream(root_ / name / "results.json") << text;
    std::ofstream(root_ / name / "stations.csv") << text << "," << text;
    return (root_ / name).string();
  }
  static std::string read(const fs::path& path) {
    std::ifstream file(path);
    return {std::istreambuf_iterator<char>(file), std::istreambuf_iterator<char>()};
  }
  fs::path root_;
};

TEST_F(KeepResult, PassesStandSideBySideOldestFirst) {
  const std::string keep = (root_ / "kept").string();
  for (const char* text : {"first", "second", "third"}) ASSERT_TRUE(keep_result(result("out", text), keep).has_value());
  const auto passes = kept_passes(keep);
  ASSERT_TRUE(passes.has_value());
  ASSERT_EQ(passes->size(), 3u);
  EXPECT_EQ(fs::path((*passes)[0]).filename(), "pass-0001");
  EXPECT_EQ(read(fs::path((*passes)[0]) / "results.json"), "first");
  EXPECT_EQ(read(fs::path((*passes)[2]) / "results.json"), "third");
  EXPECT_EQ(read(fs::path((*passes)[2]) / "stations.csv"), "third,third");
}

TEST_F(KeepResult, WhatIsNoResultIsNotKept) {
  fs::create_directories(root_ / "empty");
  EXPECT_FALSE(keep_result((root_ / "empty").string(), (root_ / "kept").string()).has_value());
  EXPECT_FALSE(keep_result((root_ / "missing").string(), (root_ / "kept").string()).has_value());
  EXPECT_FALSE(kept_passes((root_ / "missing").string()).has_value());
  EXPECT_FALSE(fs::exists(root_ / "kept" / "pass-0001"));
}

TEST_F(KeepResult, AFolderThatHoldsTooMuchIsNotKept) {
  const std::string keep = (root_ / "kept").string(), out = result("out", "text");
  for (int i = 0; i < 62; ++i) std::ofstream(fs::path(out) / ("more-" + std::to_string(i))).put('x');
  EXPECT_TRUE(keep_result(out, keep).has_value()) << "64 files";
  std::ofstream(fs::path(out) / "one more").put('x');
  ASSERT_FALSE(keep_result(out, keep).has_value()) << "65 files";
  EXPECT_EQ(keep_result(out, keep).error().reason, RefusalReason::file_over_limit);

  const fs::path large = result("large", "text");  // 4 and 9 bytes, and a hole, which takes no room on the disk
  std::ofstream(large / "hole").close();
  fs::resize_file(large / "hole", (512U << 20) - 12);
  ASSERT_FALSE(keep_result(large.string(), keep).has_value()) << "512 MiB and a byte";
  EXPECT_EQ(keep_result(large.string(), keep).error().reason, RefusalReason::file_over_limit);
  // Just 512 MiB are looked at; that nothing is copied is for another reason, lest the test write them.
  fs::remove(large / "results.json");
  fs::resize_file(large / "hole", (512U << 20) - 9);
  EXPECT_EQ(keep_result(large.string(), keep).error().reason, RefusalReason::file_not_found) << "512 MiB";
  fs::resize_file(large / "hole", (512U << 20) - 8);
  EXPECT_EQ(keep_result(large.string(), keep).error().reason, RefusalReason::file_over_limit);
  EXPECT_EQ(kept_passes(keep)->size(), 1u);
}

TEST_F(KeepResult, AfterTheLastNumberNothingIsKept) {
  const fs::path keep = root_ / "kept";
  fs::create_directories(keep / "pass-9998");
  const auto last = keep_result(result("out", "last"), keep.string());
  ASSERT_TRUE(last.has_value()) << last.error().sentence();
  EXPECT_EQ(fs::path(*last).filename(), "pass-9999");
  const auto refused = keep_result(result("out", "one more"), keep.string());
  ASSERT_FALSE(refused.has_value());
  EXPECT_EQ(refused.error().reason, RefusalReason::output_not_writable);
  EXPECT_EQ(read(keep / "pass-9999" / "results.json"), "last");
  for (const auto& entry : fs::directory_iterator(keep)) EXPECT_NE(entry.path().filename().string().front(), '.');
}

TEST_F(KeepResult, OtherThingsInTheFolderAreLeftAlone) {
  const fs::path keep = root_ / "kept";
  fs::create_directories(keep / "pass-x");
  fs::create_directories(keep / "pass-00001");
  std::ofstream(keep / "pass-0001") << "a file in the way";
  const auto kept = keep_result(result("out", "text"), keep.string());
  ASSERT_TRUE(kept.has_value()) << kept.error().sentence();
  EXPECT_EQ(fs::path(*kept).filename(), "pass-0002");
  EXPECT_EQ(read(keep / "pass-0001"), "a file in the way");
  EXPECT_EQ(kept_passes(keep.string())->size(), 1u);
}

// Two writers at once, threads and processes: every result is kept once, whole, under a number of its own.
TEST_F(KeepResult, TwoWritersNeverMix) {
  const std::string keep = (root_ / "kept").string();
  constexpr int each = 25;
  const std::string a = result("a", std::string(20000, 'a')), b = result("b", std::string(20000, 'b'));
  const pid_t child = ::fork();
  if (child == 0) {
    bool all = true;
    for (int i = 0; i < each; ++i) all = keep_result(b, keep).has_value() && all;
    ::_exit(all ? 0 : 1);
  }
  std::thread other([&] {
    for (int i = 0; i < each; ++i) EXPECT_TRUE(keep_result(b, keep).has_value());
  });
  for (int i = 0; i < each; ++i) EXPECT_TRUE(keep_result(a, keep).has_value());
  other.join();
  int status = 0;
  ::waitpid(child, &status, 0);
  EXPECT_EQ(status, 0);
  const auto passes = kept_passes(keep);
  ASSERT_TRUE(passes.has_value());
  EXPECT_EQ(passes->size(), 3u * each);
  int of_a = 0;
  for (const std::string& pass : *passes) {
    const std::string text = read(fs::path(pass) / "results.json");
    ASSERT_EQ(text.size(), 20000u);
    EXPECT_EQ(text, std::string(20000, text.front()));
    EXPECT_EQ(read(fs::path(pass) / "stations.csv").size(), 40001u);
    of_a += text.front() == 'a' ? 1 : 0;
  }
  EXPECT_EQ(of_a, each);
  for (const auto& entry : fs::directory_iterator(keep)) EXPECT_NE(entry.path().filename().string().front(), '.');
}

// Killed in the middle: whatever is numbered is whole.
TEST_F(KeepResult, KilledAtAnyMomentItLeavesNoHalfPass) {
  const std::string keep = (root_ / "kept").string();
  const std::string a = result("a", std::string(200000, 'a'));
  for (int round = 0; round < 20; ++round) {
    const pid_t child = ::fork();
    if (child == 0) {
      for (;;) (void)keep_result(a, keep);
    }
    ::usleep(static_cast<useconds_t>(1000 + 700 * round));
    ::kill(child, SIGKILL);
    ::waitpid(child, nullptr, 0);
  }
  for (const std::string& pass : kept_passes(keep).value_or(std::vector<std::string>{})) {
    EXPECT_EQ(fs::file_size(fs::path(pass) / "results.json"), 200000u);
    EXPECT_EQ(fs::file_size(fs::path(pass) / "stations.csv"), 400001u);
  }
  EXPECT_TRUE(keep_result(a, keep).has_value());
}

}  // namespace
}  // namespace rimwright
