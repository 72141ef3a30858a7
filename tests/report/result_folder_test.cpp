// Results appear whole or not at all.
#include "report/result_folder.h"

#include <gtest/gtest.h>
#include <signal.h>
#include <sys/mount.h>
#include <sys/resource.h>
#include <sys/wait.h>
#include <unistd.h>

#include <atomic>
#include <chrono>
#include <filesystem>
#include <fstream>
#include <random>
#include <sstream>
#include <thread>

namespace rimwright {
namespace {

namespace fs = std::filesystem;

class ResultFolderTest : public testing::Test {
 protected:
  void SetUp() override {
    std::string pattern = testing::TempDir() + "result-XXXXXX";
    ASSERT_NE(mkdtemp(pattern.data()), nullptr);
    base_ = pattern;
    out_ = (base_ / "out").string();
  }
  void TearDown() override { fs::remove_all(base_); }

  static std::string text_of(const fs::path& path) {
    std::ifstream file(path, std::ios::binary);
    std::ostringstream text;
    text << file.rdbuf();
    return text.str();
  }
  // Every file of one result holds the same generation.
  static Outcome<void> write_generation(const std::string& out, const std::string& generation,
                                        std::size_t bytes = 20'000) {
    Outcome<ResultFolder> folder = ResultFolder::open(out);
    if (!folder) return tl::unexpected(folder.error());
    for (const char* name : {"results.json", "stations.csv", "report.html"}) {
      std::string content = generation + "\n";
      content.resize(bytes, 'x');
      if (Outcome<void> written = folder->write(name, content); !written) return written;
    }
    return folder->commit();
  }
  static std::string generation_of(const fs::path& file) {
    const std::string text = text_of(file);
    return text.substr(0, text.find('\n'));
  }
  void expect_whole(const std::string& what) const {
    const std::string generation = generation_of(fs::path(out_) / "results.json");
    EXPECT_FALSE(generation.empty()) << what;
    for (const char* name : {"stations.csv", "report.html"}) {
      EXPECT_EQ(generation_of(fs::path(out_) / name), generation) << what;
      EXPECT_EQ(fs::file_size(fs::path(out_) / name), 20'000U) << what;
    }
  }
  std::size_t entries_in_base() const {
    return static_cast<std::size_t>(std::distance(fs::directory_iterator(base_), fs::directory_iterator()));
  }

  fs::path base_;
  std::string out_;
};

TEST_F(ResultFolderTest, ReplacesAnEarlierResultAndLeavesNothingBeside) {
  ASSERT_TRUE(write_generation(out_, "1"));
  ASSERT_TRUE(write_generation(out_, "2"));
  expect_whole("after two");
  EXPECT_EQ(generation_of(fs::path(out_) / "results.json"), "2");
  EXPECT_EQ(entries_in_base(), 1U);
}

TEST_F(ResultFolderTest, WhatIsNotCommittedLeavesTheEarlierResult) {
  ASSERT_TRUE(write_generation(out_, "1"));
  {
    Outcome<ResultFolder> folder = ResultFolder::open(out_);
    ASSERT_TRUE(folder);
    ASSERT_TRUE(folder->write("results.json", "half"));
  }
  expect_whole("after an abandoned run");
  EXPECT_EQ(entries_in_base(), 1U);
}

TEST_F(ResultFolderTest, AFolderWithOtherFilesIsNotReplaced) {
  fs::create_directory(out_);
  std::ofstream(fs::path(out_) / "thesis.txt") << "years of work";
  const Outcome<void> written = write_generation(out_, "1");
  ASSERT_FALSE(written);
  EXPECT_EQ(written.error().reason, RefusalReason::output_not_writable);
  EXPECT_NE(written.error().what.find("thesis.txt"), std::string::npos);
  EXPECT_EQ(text_of(fs::path(out_) / "thesis.txt"), "years of work");
}

TEST_F(ResultFolderTest, AFileInThePlaceOfTheFolderIsRefused) {
  std::ofstream(out_) << "a file";
  EXPECT_FALSE(write_generation(out_, "1"));
  EXPECT_EQ(text_of(out_), "a file");
}

TEST_F(ResultFolderTest, KilledAtAnyMomentTheEarlierResultIsIntact) {
  ASSERT_TRUE(write_generation(out_, "first"));
  constexpr unsigned seed = 200;
  std::mt19937 random(seed);
  // Up to four times as long as one result takes, so that kills fall everywhere in it and after it, also where other
  // work makes it take longer than it took here.
  const auto begin = std::chrono::steady_clock::now();
  for (int i = 0; i < 5; ++i) ASSERT_TRUE(write_generation(out_, "first"));
  const auto one = std::chrono::duration_cast<std::chrono::microseconds>(std::chrono::steady_clock::now() - begin) / 5;
  std::uniform_int_distribution<std::int64_t> wait_us(0, 4 * one.count());
  std::size_t different = 0;
  std::string last;
  for (int kill_number = 0; kill_number < 200; ++kill_number) {
    const pid_t child = fork();
    ASSERT_GE(child, 0);
    if (child == 0) {
      for (int i = 0;; ++i) {
        if (!write_generation(out_, std::to_string(kill_number) + "-" + std::to_string(i))) _exit(1);
      }
    }
    std::this_thread::sleep_for(std::chrono::microseconds(wait_us(random)));
    kill(child, SIGKILL);
    int status = 0;
    waitpid(child, &status, 0);
    ASSERT_TRUE(WIFSIGNALED(status)) << "the child refused by itself, kill " << kill_number;
    expect_whole("kill " + std::to_string(kill_number) + ", seed " + std::to_string(seed));
    different += generation_of(fs::path(out_) / "results.json") != last;
    last = generation_of(fs::path(out_) / "results.json");
  }
  EXPECT_GT(different, 20U) << "kills must also fall after new results";
  ASSERT_TRUE(write_generation(out_, "after"));
  EXPECT_EQ(entries_in_base(), 1U) << "what killed runs left is removed by the next";
}

TEST_F(ResultFolderTest, TwoRunsIntoOneFolderDoNotMix) {
  std::vector<std::thread> runs;
  std::atomic<int> refused{0};
  for (int run = 0; run < 2; ++run) {
    runs.emplace_back([&, run] {
      for (int i = 0; i < 60; ++i) {
        if (!write_generation(out_, std::to_string(run) + "-" + std::to_string(i))) ++refused;
      }
    });
  }
  for (std::thread& run : runs) run.join();
  EXPECT_EQ(refused, 0);
  expect_whole("after two runs at once");
  EXPECT_EQ(entries_in_base(), 1U);
}

// A limit on file size stops a write half-way as a full disk does, and needs no mount.
TEST_F(ResultFolderTest, AWriteThatStopsHalfWayLeavesTheEarlierResult) {
  ASSERT_TRUE(write_generation(out_, "1"));
  const pid_t child = fork();
  ASSERT_GE(child, 0);
  if (child == 0) {
    signal(SIGXFSZ, SIG_IGN);
    const rlimit limit{30'000, 30'000};
    setrlimit(RLIMIT_FSIZE, &limit);
    const Outcome<void> written = write_generation(out_, "2", 100'000);
    _exit(!written && written.error().reason == RefusalReason::output_not_writable ? 0 : 1);
  }
  int status = 0;
  waitpid(child, &status, 0);
  EXPECT_TRUE(WIFEXITED(status) && WEXITSTATUS(status) == 0);
  expect_whole("after a write that stopped");
  EXPECT_EQ(entries_in_base(), 1U);
}

// A full and a read-only disk, where this user may mount one; the file-size test above covers the rest.
TEST_F(ResultFolderTest, AFullOrReadOnlyDiskLeavesTheEarlierResult) {
  const fs::path disk = base_ / "disk";
  fs::create_directory(disk);
  if (mount("tmpfs", disk.c_str(), "tmpfs", 0, "size=200k") != 0) {
    RecordProperty("mounted", "no");
    return;
  }
  out_ = (disk / "out").string();
  EXPECT_TRUE(write_generation(out_, "1"));
  const Outcome<void> full = write_generation(out_, "2", 150'000);
  EXPECT_FALSE(full);
  if (!full) {
    EXPECT_NE(full.error().what_to_do.find("space"), std::string::npos) << full.error().sentence();
  }
  expect_whole("after a full disk");
  EXPECT_EQ(mount("tmpfs", disk.c_str(), "tmpfs", MS_REMOUNT | MS_RDONLY, nullptr), 0);
  const Outcome<void> read_only = write_generation(out_, "3");
  EXPECT_FALSE(read_only);
  expect_whole("after a read-only disk");
  EXPECT_EQ(umount(disk.c_str()), 0);
}

TEST_F(ResultFolderTest, MissingParentsAreMadeAndEmptyNamesRefused) {
  out_ = (base_ / "a" / "b" / "out").string();
  EXPECT_TRUE(write_generation(out_, "1"));
  expect_whole("in new folders");
  EXPECT_FALSE(ResultFolder::open(""));
  EXPECT_FALSE(ResultFolder::open("/"));
}

}  // namespace
}  // namespace rimwright
