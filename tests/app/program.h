// Runs the built program as a builder would, and gathers what it says.
#pragma once

#include <fcntl.h>
#include <gtest/gtest.h>
#include <sys/resource.h>
#include <sys/wait.h>
#include <unistd.h>

#include <chrono>
#include <csignal>
#include <cstdlib>
#include <filesystem>
#include <fstream>
#include <functional>
#include <iterator>
#include <string>
#include <thread>
#include <vector>

namespace rimwright::testing {

struct Ran {
  int status = -1;  // exit status; -1 when killed by a signal
  int signal = 0;
  std::string out, err;
};

inline std::string text_of(const std::filesystem::path& path) {
  std::ifstream file(path, std::ios::binary);
  return {std::istreambuf_iterator<char>(file), {}};
}

inline void write_text(const std::filesystem::path& path, const std::string& text) {
  std::ofstream(path, std::ios::binary) << text;
}

// A folder of its own for each test program, removed at its end.
class WorkFolder {
 public:
  explicit WorkFolder(const std::string& name)
      : path_(std::filesystem::temp_directory_path() / ("rimwright-" + name + "-" + std::to_string(::getpid()))) {
    std::filesystem::remove_all(path_);
    std::filesystem::create_directories(path_);
  }
  ~WorkFolder() {
    std::error_code ignored;
    std::filesystem::remove_all(path_, ignored);
  }
  WorkFolder(const WorkFolder&) = delete;
  WorkFolder& operator=(const WorkFolder&) = delete;
  [[nodiscard]] std::filesystem::path operator/(const std::string& name) const { return path_ / name; }
  [[nodiscard]] const std::filesystem::path& path() const { return path_; }

 private:
  std::filesystem::path path_;
};

struct HowToRun {
  std::filesystem::path in;                  // working folder
  std::function<void()> in_child;            // limits and the like, just before the program starts
  std::chrono::microseconds kill_after{-1};  // SIGKILL then; negative = never
};

// Arguments as given, no shell. A run longer than five minutes is killed: it hangs.
inline Ran run(const std::vector<std::string>& arguments, const HowToRun& how) {
  const std::filesystem::path out = how.in / ".stdout", err = how.in / ".stderr";
  std::vector<char*> words{const_cast<char*>(RIMWRIGHT_PROGRAM)};
  for (const std::string& argument : arguments) words.push_back(const_cast<char*>(argument.c_str()));
  words.push_back(nullptr);
  const pid_t child = ::fork();
  if (child == 0) {
    const int out_fd = ::open(out.c_str(), O_WRONLY | O_CREAT | O_TRUNC, 0644);
    const int err_fd = ::open(err.c_str(), O_WRONLY | O_CREAT | O_TRUNC, 0644);
    ::dup2(out_fd, STDOUT_FILENO);
    ::dup2(err_fd, STDERR_FILENO);
    if (::chdir(how.in.c_str()) != 0) ::_exit(126);
#ifdef RIMWRIGHT_SANITIZED
    // A sanitizer's report is to be seen, and its exit status is to be none of the program's own.
    ::setenv("RIMWRIGHT_ALL_MESSAGES", "1", 0);
    for (const char* options : {"ASAN_OPTIONS", "UBSAN_OPTIONS", "TSAN_OPTIONS"}) {
      const char* given = std::getenv(options);
      ::setenv(options, ((given == nullptr ? "" : given + std::string(":")) + "exitcode=86").c_str(), 1);
    }
#endif
    if (how.in_child) how.in_child();
    ::execv(RIMWRIGHT_PROGRAM, words.data());
    ::_exit(127);
  }
  const auto begin = std::chrono::steady_clock::now();
  const auto limit = how.kill_after.count() >= 0 ? how.kill_after : std::chrono::microseconds(std::chrono::minutes(5));
  int status = 0;
  while (::waitpid(child, &status, WNOHANG) == 0) {
    if (std::chrono::steady_clock::now() - begin >= limit) {
      ::kill(child, SIGKILL);
      ::waitpid(child, &status, 0);
      break;
    }
    std::this_thread::sleep_for(std::chrono::microseconds(200));
  }
  Ran ran;
  if (WIFEXITED(status)) ran.status = WEXITSTATUS(status);
  if (WIFSIGNALED(status)) ran.signal = WTERMSIG(status);
  ran.out = text_of(out);
  ran.err = text_of(err);
  std::error_code ignored;
  std::filesystem::remove(out, ignored);
  std::filesystem::remove(err, ignored);
  return ran;
}

inline const std::string sample_scan = RIMWRIGHT_SAMPLES "/octave-mandola-first-pass/scan.ply";
inline const std::string sample_plan = RIMWRIGHT_SAMPLES "/octave-mandola-first-pass/plan.yaml";

// Simulates a sample body with the program itself; returns the folder with scan.ply and plan.yaml.
inline std::filesystem::path simulate(const std::string& body, const WorkFolder& folder) {
  const std::filesystem::path into = folder / body;
  const Ran ran =
      run({"simulate", RIMWRIGHT_SAMPLES "/bodies/" + body + ".yaml", "--out", into.string()}, {folder.path(), {}});
  EXPECT_EQ(ran.status, 0) << ran.err;
  return into;
}

}  // namespace rimwright::testing
