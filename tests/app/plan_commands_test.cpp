// The commands that need no scan, run as a builder runs them: what they print, write, and return.
#include <gmock/gmock.h>
#include <gtest/gtest.h>
#include <sys/wait.h>
#include <unistd.h>

#include <algorithm>
#include <array>
#include <cstdio>
#include <filesystem>
#include <fstream>
#include <string>

namespace rimwright {
namespace {

namespace fs = std::filesystem;
using testing::HasSubstr;

struct Ran {
  int status = -1;
  std::string out;  // standard output and error
};

Ran run(const std::string& arguments) {
  Ran ran;
  FILE* pipe = ::popen((std::string(RIMWRIGHT_PROGRAM) + " " + arguments + " 2>&1").c_str(), "r");
  if (pipe == nullptr) return ran;
  std::array<char, 4096> block{};
  while (const std::size_t read = std::fread(block.data(), 1, block.size(), pipe)) ran.out.append(block.data(), read);
  const int status = ::pclose(pipe);
  ran.status = WIFEXITED(status) ? WEXITSTATUS(status) : -1;
  return ran;
}

class PlanCommands : public testing::Test {
 protected:
  void SetUp() override {
    // One folder a test: tests of one program run at the same time.
    folder_ = fs::temp_directory_path() / ("rimwright-commands-" + std::to_string(::getpid()));
    fs::remove_all(folder_);
    fs::create_directories(folder_);
  }
  void TearDown() override { fs::remove_all(folder_); }
  [[nodiscard]] std::string at(const std::string& name) const { return (folder_ / name).string(); }
  void write_result(const std::string& name, const std::string& verdict, double depth_mm) const {
    fs::create_directories(folder_ / name);
    std::ofstream(folder_ / name / "results.json")
        << R"({"format": "rimwright-results/1", "instrument": "T, invented", "units": "mm", "verdict": ")" << verdict
        << R"(", "scan": {}, "bevel": null, "block": null, "channels": [{"name": "binding", "corner": "top-side",
              "planned": [{"width_mm": 1.85, "depth_mm": 5.85}], "stations": [{"station_mm": 4, "at": [0, 0, 0],
              "steps": [{"width_mm": 1.85, "width_u95_mm": 0.02, "depth_mm": )"
        << depth_mm << R"(, "depth_u95_mm": 0.02}]}]}], "findings": []})";
  }
  fs::path folder_;
};

TEST_F(PlanCommands, ExplainTellsOfASamplePlanAndDrawsIt) {
  const Ran ran = run("explain " RIMWRIGHT_SAMPLES "/plans/mandola.yaml --svg " + at("drawing.svg"));
  EXPECT_EQ(ran.status, 0) << ran.out;
  EXPECT_THAT(ran.out, HasSubstr("step 1  width 1.85 mm"));
  EXPECT_THAT(ran.out, HasSubstr("tilt 56.0 deg"));
  EXPECT_GT(fs::file_size(at("drawing.svg")), 1000u);
}

TEST_F(PlanCommands, APlanThatCannotBeUsedIsOneSentenceAndStatusTwo) {
  std::ofstream(at("plan.yaml")) << "instrument: T\nunits: mm\nchanels: []\n";
  const Ran ran = run("explain " + at("plan.yaml"));
  EXPECT_EQ(ran.status, 2);
  EXPECT_THAT(ran.out, HasSubstr("line 3, column 1"));
  EXPECT_THAT(ran.out, HasSubstr("'channels'"));
  EXPECT_EQ(std::count(ran.out.begin(), ran.out.end(), '\n'), 1);
  EXPECT_EQ(run("explain " + at("none.yaml")).status, 2);
  EXPECT_EQ(run("explain").status, 2);
}

TEST_F(PlanCommands, ADrawingThatCannotBeWrittenIsRefused) {
  const Ran ran = run("explain " RIMWRIGHT_SAMPLES "/plans/mandola.yaml --svg " + at("no/such/folder.svg"));
  EXPECT_EQ(ran.status, 2);
  EXPECT_THAT(ran.out, HasSubstr("cannot be written"));
}

TEST_F(PlanCommands, HistoryListsThePassesOldestFirst) {
  write_result("pass-0001", "fail", 5.40);
  write_result("pass-0002", "pass", 5.84);
  fs::create_directories(folder_ / "pass-0003");  // empty: left out, and said
  const Ran ran = run("history " + folder_.string());
  EXPECT_EQ(ran.status, 0) << ran.out;
  EXPECT_LT(ran.out.find("pass-0001"), ran.out.find("pass-0002"));
  EXPECT_THAT(ran.out, HasSubstr("5.40"));
  EXPECT_THAT(ran.out, HasSubstr("5.84"));
  EXPECT_THAT(ran.out, HasSubstr("left out"));
  EXPECT_TRUE(fs::exists(folder_ / "history.html"));
  EXPECT_EQ(run("history " + at("nowhere")).status, 2);
}

TEST_F(PlanCommands, CompareReturnsTheVerdictOfTheLaterPass) {
  write_result("a", "fail", 5.40);
  write_result("b", "pass", 5.84);
  write_result("c", "undecided", 5.84);
  EXPECT_EQ(run("compare " + at("a") + " " + at("b") + " --out " + at("out")).status, 0);
  EXPECT_TRUE(fs::exists(at("out/compare.json")));
  EXPECT_EQ(run("compare " + at("b") + " " + at("a") + " --out " + at("out")).status, 1);
  EXPECT_EQ(run("compare " + at("a") + " " + at("c") + " --out " + at("out")).status, 3);
  EXPECT_EQ(run("compare " + at("a") + " " + at("none") + " --out " + at("out")).status, 2);
  // A result is never overwritten by a comparison.
  EXPECT_EQ(run("compare " + at("a") + " " + at("b") + " --out " + at("a")).status, 2);
  EXPECT_TRUE(fs::exists(at("a/results.json")));
}

}  // namespace
}  // namespace rimwright
