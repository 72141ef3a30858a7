// Small files are read whole or refused; files are written whole or not at all.
#include <gmock/gmock.h>
#include <gtest/gtest.h>
#include <sys/resource.h>
#include <sys/stat.h>
#include <unistd.h>

#include <csignal>
#include <filesystem>
#include <fstream>
#include <iterator>

#include "core/small_file.h"
#include "core/write_whole.h"

namespace rimwright {
namespace {

namespace fs = std::filesystem;
using ::testing::HasSubstr;

class WholeFiles : public ::testing::Test {
 protected:
  void SetUp() override { fs::create_directories(folder_); }
  void TearDown() override { fs::remove_all(folder_); }
  fs::path folder_ = fs::temp_directory_path() / ("rimwright-whole-files-" + std::to_string(::getpid()));

  static std::string text_of(const fs::path& path) {
    std::ifstream file(path, std::ios::binary);
    return {std::istreambuf_iterator<char>(file), {}};
  }
  std::ptrdiff_t files() const { return std::distance(fs::directory_iterator(folder_), fs::directory_iterator()); }
};

TEST_F(WholeFiles, ReadUpToTheLimit) {
  const std::string bytes(200'000, 'x');
  std::ofstream(folder_ / "file") << bytes;
  const auto all = read_small_file(folder_ / "file", 200'000);
  ASSERT_TRUE(all);
  EXPECT_EQ(*all, bytes);
  const auto too_large = read_small_file(folder_ / "file", 199'999);
  ASSERT_FALSE(too_large);
  EXPECT_EQ(too_large.error().reason, RefusalReason::file_over_limit);
  EXPECT_THAT(too_large.error().what, HasSubstr("199999 bytes"));
  std::ofstream(folder_ / "empty").close();
  ASSERT_TRUE(read_small_file(folder_ / "empty", 10));
}

TEST_F(WholeFiles, OnlyFilesAreRead) {
  ASSERT_EQ(::mkfifo((folder_ / "pipe").c_str(), 0600), 0);
  fs::create_symlink("/dev/zero", folder_ / "zero");
  for (const fs::path& path : {folder_ / "pipe", folder_ / "zero", folder_, fs::path("/dev/zero")}) {
    const auto refused = read_small_file(path, 1000);
    ASSERT_FALSE(refused) << path;
    EXPECT_EQ(refused.error().reason, RefusalReason::file_not_readable) << path;
    EXPECT_THAT(refused.error().what, HasSubstr("not a file"));
  }
  for (const fs::path& path : {folder_ / "nothing", fs::path()}) {
    const auto refused = read_small_file(path, 1000);
    ASSERT_FALSE(refused) << path;
    EXPECT_EQ(refused.error().reason, RefusalReason::file_not_found) << path;
  }
  fs::create_symlink("loop", folder_ / "loop");
  EXPECT_FALSE(read_small_file(folder_ / "loop", 1000));
}

TEST_F(WholeFiles, WrittenOverAnEarlierOne) {
  const fs::path path = folder_ / "page.html";
  ASSERT_TRUE(write_whole(path.string(), "first"));
  ASSERT_TRUE(write_whole(path.string(), "second"));
  EXPECT_EQ(text_of(path), "second");
  EXPECT_EQ(files(), 1);
}

TEST_F(WholeFiles, OnlyFilesAreReplaced) {
  ASSERT_EQ(::mkfifo((folder_ / "pipe").c_str(), 0600), 0);
  fs::create_symlink("pipe", folder_ / "link");
  fs::create_directories(folder_ / "folder");
  for (const char* name : {"pipe", "link", "folder"}) {
    const auto written = write_whole((folder_ / name).string(), "bytes");
    ASSERT_FALSE(written) << name;
    EXPECT_EQ(written.error().reason, RefusalReason::output_not_writable) << name;
  }
  EXPECT_TRUE(fs::is_fifo(folder_ / "pipe"));
  EXPECT_TRUE(fs::is_symlink(folder_ / "link"));
  EXPECT_EQ(files(), 3);
}

TEST_F(WholeFiles, AFailureLeavesTheEarlierOne) {
  const fs::path path = folder_ / "page.html";
  ASSERT_TRUE(write_whole(path.string(), "first"));
  // No file may grow beyond 1000 bytes: the write fails with EFBIG, on the path a full disk takes with ENOSPC.
  rlimit before{};
  ASSERT_EQ(::getrlimit(RLIMIT_FSIZE, &before), 0);
  std::signal(SIGXFSZ, SIG_IGN);
  const rlimit small{1000, before.rlim_max};
  ASSERT_EQ(::setrlimit(RLIMIT_FSIZE, &small), 0);
  const auto written = write_whole(path.string(), std::string(100'000, 'x'));
  ASSERT_EQ(::setrlimit(RLIMIT_FSIZE, &before), 0);
  ASSERT_FALSE(written);
  EXPECT_EQ(text_of(path), "first");
  EXPECT_EQ(files(), 1);
}

TEST_F(WholeFiles, NoFolderNoFile) {
  EXPECT_FALSE(write_whole((folder_ / "none" / "page.html").string(), "bytes"));
  EXPECT_FALSE(write_whole("", "bytes"));
}

}  // namespace
}  // namespace rimwright
