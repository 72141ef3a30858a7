// Killed at any moment, out of room or not allowed to write: the earlier result stays whole, the message says what
// happened, and nothing is left beside it for good.
#include <gmock/gmock.h>
#include <sys/mount.h>

#include <cerrno>
#include <cstring>
#include <map>
#include <random>

#include "program.h"

namespace rimwright {
namespace {

namespace fs = std::filesystem;
using ::testing::HasSubstr;
using testing::Ran;
using testing::run;
using testing::sample_plan;
using testing::sample_scan;
using testing::text_of;
using testing::write_text;

using Files = std::map<std::string, std::string>;

Files files_in(const fs::path& folder) {
  Files files;
  for (const auto& entry : fs::directory_iterator(folder)) {
    std::string& bytes = files[entry.path().filename().string()];
    bytes = text_of(entry.path());
    // The second at which a sheet was drawn is all that two runs with the same input may differ in.
    const std::size_t at = bytes.find("/CreationDate (");
    if (at != std::string::npos) bytes.erase(at, bytes.find(')', at) - at);
  }
  return files;
}

std::vector<std::string> names_in(const fs::path& folder) {
  std::vector<std::string> names;
  for (const auto& entry : fs::directory_iterator(folder)) names.push_back(entry.path().filename().string());
  std::sort(names.begin(), names.end());
  return names;
}

bool same(const Files& a, const Files& b) { return a == b; }

// Names and sizes in which two results differ.
std::string difference(const Files& a, const Files& b) {
  std::string text;
  for (const Files* from : {&a, &b}) {
    for (const auto& [name, bytes] : *from) {
      const Files& other = from == &a ? b : a;
      const auto at = other.find(name);
      if (at == other.end()) text += name + " is in one only; ";
      if (from == &a && at != other.end() && at->second != bytes) {
        text += name + " of " + std::to_string(bytes.size()) + " and " + std::to_string(at->second.size()) + " bytes; ";
      }
    }
  }
  return text;
}

class NothingLost : public ::testing::Test {
 protected:
  // Two plans that differ in the instrument's name, so that two results can be told apart.
  void SetUp() override {
    const std::string plan = text_of(sample_plan);
    const std::size_t at = plan.find("Octave");
    ASSERT_NE(at, std::string::npos);
    write_text(folder_ / "first.yaml", plan);
    write_text(folder_ / "second.yaml", std::string(plan).replace(at, 6, "Second"));
  }
  Ran inspect(const std::string& plan, const fs::path& out, testing::HowToRun how = {}) {
    how.in = folder_.path();
    return run({"inspect", (folder_ / plan).string(), sample_scan, "--out", out.string(), "--quiet"}, how);
  }
  testing::WorkFolder folder_{"nothing-lost"};
};

// 8 times here; RIMWRIGHT_KILLS=200 for the long run. The seed is printed. Moments cover the whole of a run and a
// little more; runs that end before they are killed do not count.
TEST_F(NothingLost, KilledAtAnyMoment) {
  const char* asked = std::getenv("RIMWRIGHT_KILLS");
  const int kills = asked == nullptr ? 8 : std::atoi(asked);
  const unsigned seed = asked == nullptr ? 20261125U : std::random_device{}();
  std::printf("%d kills, seed %u\n", kills, seed);
  fs::create_directories(folder_ / "at");
  const fs::path out = folder_ / "at" / "out";
  const auto begin = std::chrono::steady_clock::now();
  ASSERT_EQ(inspect("second.yaml", out).status, 1);
  const Files second = files_in(out);
  const auto whole = std::chrono::duration_cast<std::chrono::microseconds>(std::chrono::steady_clock::now() - begin);
  ASSERT_EQ(inspect("first.yaml", out).status, 1);
  const Files first = files_in(out);
  ASSERT_FALSE(same(first, second));

  std::mt19937 random(seed);
  std::uniform_int_distribution<long> moment(0, static_cast<long>(whole.count() * 12 / 10));
  int killed = 0, stands_second = 0, runs = 0;
  for (; killed < kills && runs < 3 * kills; ++runs) {
    const int i = runs;
    const std::string plan = i % 2 == 0 ? "second.yaml" : "first.yaml";
    const Ran ran = inspect(plan, out, {{}, {}, std::chrono::microseconds(moment(random))});
    killed += ran.signal == SIGKILL ? 1 : 0;
    const Files now = files_in(out);
    ASSERT_TRUE(same(now, first) || same(now, second))
        << "kill " << i << " left a mixture: against the first " << difference(now, first) << "against the second "
        << difference(now, second);
    stands_second += same(now, second) ? 1 : 0;
  }
  std::printf("%d of %d runs were killed before their end; %d left the second result in place\n", killed, runs,
              stands_second);
  EXPECT_EQ(killed, kills);
  // What killed runs left beside is removed by the next run.
  ASSERT_EQ(inspect("first.yaml", out).status, 1);
  EXPECT_TRUE(same(files_in(out), first));
  EXPECT_EQ(names_in(folder_ / "at"), std::vector<std::string>{"out"});
}

// A limit on the size of files fails the write with EFBIG; a full disk fails it with ENOSPC on the same path.
TEST_F(NothingLost, FilesThatMayNotGrow) {
  const fs::path out = folder_ / "out";
  ASSERT_EQ(inspect("first.yaml", out).status, 1);
  const Files first = files_in(out);
  for (const rlim_t bytes : {rlim_t{0}, rlim_t{4096}, rlim_t{200'000}}) {
    const Ran ran = inspect("second.yaml", out, {{}, [bytes] {
                                                   std::signal(SIGXFSZ, SIG_IGN);
                                                   const rlimit most{bytes, bytes};
                                                   ::setrlimit(RLIMIT_FSIZE, &most);
                                                 }});
    EXPECT_EQ(ran.status, 2) << bytes;
    if (bytes > 1000) {  // below, there is no room for the message either: standard error is a file here
      EXPECT_THAT(ran.err, HasSubstr("rimwright: cannot write"));
      EXPECT_THAT(ran.err, HasSubstr("an earlier result is untouched."));
    }
    EXPECT_TRUE(same(files_in(out), first)) << bytes;
  }
}

// Root may mount a small file system; elsewhere FilesThatMayNotGrow stands for it.
TEST_F(NothingLost, DiskFull) {
  const fs::path disk = folder_ / "disk";
  fs::create_directories(disk);
  if (::mount("tmpfs", disk.c_str(), "tmpfs", 0, "size=64m") != 0) {
    EXPECT_TRUE(errno == EPERM || errno == EACCES) << std::strerror(errno);
    std::puts("no right to mount a small file system: FilesThatMayNotGrow is what tests this here");
    return;
  }
  ASSERT_EQ(inspect("first.yaml", disk / "out").status, 1);
  const Files first = files_in(disk / "out");
  // Fill it up, but for less and less.
  const std::uintmax_t free_bytes = fs::space(disk).available;
  for (const std::uintmax_t left : {std::uintmax_t{1'500'000}, std::uintmax_t{300'000}, std::uintmax_t{0}}) {
    write_text(disk / "filler", std::string(free_bytes - left, 'x'));
    const Ran ran = inspect("second.yaml", disk / "out");
    EXPECT_EQ(ran.status, 2) << left << ran.err;
    EXPECT_THAT(ran.err, HasSubstr("free some space; an earlier result is untouched."));
    EXPECT_EQ(std::count(ran.err.begin(), ran.err.end(), '\n'), 1) << ran.err;
    EXPECT_TRUE(same(files_in(disk / "out"), first)) << left;
    EXPECT_EQ(names_in(disk), (std::vector<std::string>{"filler", "out"})) << "something was left beside";
  }
  EXPECT_EQ(::umount(disk.c_str()), 0);
}

TEST_F(NothingLost, FolderThatMayNotBeWritten) {
  const fs::path disk = folder_ / "disk";
  fs::create_directories(disk);
  const bool mounted = ::mount("tmpfs", disk.c_str(), "tmpfs", 0, "size=64m") == 0;
  // Root can write anywhere but on a file system that is read-only. Where none may be mounted, the program runs as
  // nobody (65534), whom the folder's own rights forbid it.
  const bool as_nobody = !mounted && ::geteuid() == 0;
  ASSERT_EQ(inspect("first.yaml", disk / "out").status, 1);
  const Files first = files_in(disk / "out");
  if (mounted) {
    ASSERT_EQ(::mount("tmpfs", disk.c_str(), "tmpfs", MS_REMOUNT | MS_RDONLY, nullptr), 0);
  } else {
    fs::permissions(disk,
                    fs::perms::owner_read | fs::perms::owner_exec | fs::perms::others_read | fs::perms::others_exec);
  }
  for (const fs::path& out : {disk / "out", disk / "new"}) {
    const Ran ran = inspect("second.yaml", out, {{}, [as_nobody] {
                                                   if (as_nobody && ::setuid(65534) != 0) ::_exit(125);
                                                 }});
    EXPECT_EQ(ran.status, 2);
    EXPECT_THAT(ran.err, HasSubstr(out.string()));
    EXPECT_THAT(ran.err, HasSubstr("an earlier result is untouched."));
  }
  EXPECT_TRUE(same(files_in(disk / "out"), first));
  EXPECT_FALSE(fs::exists(disk / "new"));
  if (mounted) {
    EXPECT_EQ(::umount(disk.c_str()), 0);
  } else {
    fs::permissions(disk, fs::perms::owner_all);
  }
}

TEST_F(NothingLost, FoldersThatAreNotOurs) {
  fs::create_directories(folder_ / "photos");
  write_text(folder_ / "photos" / "child.jpg", "precious");
  const Ran ran = inspect("first.yaml", folder_ / "photos");
  EXPECT_EQ(ran.status, 2);
  EXPECT_THAT(ran.err, HasSubstr("child.jpg"));
  EXPECT_EQ(files_in(folder_ / "photos"), (Files{{"child.jpg", "precious"}}));
  write_text(folder_ / "a-file", "precious");
  EXPECT_EQ(inspect("first.yaml", folder_ / "a-file").status, 2);
  EXPECT_EQ(text_of(folder_ / "a-file"), "precious");
  EXPECT_EQ(inspect("first.yaml", folder_ / "a-file" / "below").status, 2);
}

TEST_F(NothingLost, TwoRunsAtOnceDoNotMix) {
  const fs::path out = folder_ / "at" / "out";
  const auto run_in = [&](const std::string& plan, const std::string& work) {
    fs::create_directories(folder_ / work);
    return run({"inspect", (folder_ / plan).string(), sample_scan, "--out", out.string(), "--quiet"},
               {folder_ / work, {}});
  };
  ASSERT_EQ(run_in("second.yaml", "work").status, 1);
  const Files second = files_in(out);
  ASSERT_EQ(run_in("first.yaml", "work").status, 1);
  const Files first = files_in(out);
  int status_of_second = -1;
  std::thread other([&] { status_of_second = run_in("second.yaml", "work-of-second").status; });
  EXPECT_EQ(run_in("first.yaml", "work").status, 1);
  other.join();
  EXPECT_EQ(status_of_second, 1);
  const Files now = files_in(out);
  EXPECT_TRUE(same(now, first) || same(now, second)) << difference(now, first);
  EXPECT_EQ(names_in(folder_ / "at"), std::vector<std::string>{"out"});
}

// A refusal, whatever it is for, leaves the earlier result alone.
TEST_F(NothingLost, ARefusalKeepsTheEarlierResult) {
  const fs::path out = folder_ / "out";
  ASSERT_EQ(inspect("first.yaml", out).status, 1);
  const Files first = files_in(out);
  write_text(folder_ / "broken.yaml", "instrument: T\nunits: mm\n");
  EXPECT_EQ(inspect("broken.yaml", out).status, 2);
  EXPECT_EQ(
      run({"inspect", (folder_ / "first.yaml").string(), "nothing.ply", "--out", out.string()}, {folder_.path(), {}})
          .status,
      2);
  EXPECT_TRUE(same(files_in(out), first));
}

}  // namespace
}  // namespace rimwright
