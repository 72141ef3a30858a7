// Whatever cannot be used ends in exit status 2 and one sentence that names it and says what to do; nothing is written.
#include <gmock/gmock.h>
#include <sys/stat.h>

#include <cmath>
#include <cstring>
#include <numbers>
#include <random>
#include <sstream>

#include "program.h"

namespace rimwright {
namespace {

namespace fs = std::filesystem;
using ::testing::AllOf;
using ::testing::AnyOf;
using ::testing::HasSubstr;
using testing::Ran;
using testing::run;
using testing::sample_plan;
using testing::sample_scan;
using testing::text_of;
using testing::write_text;

class Refusals : public ::testing::Test {
 protected:
  Ran inspect(const std::string& plan, const std::string& scan, std::vector<std::string> more = {}) {
    std::vector<std::string> words{"inspect", plan, scan, "--out", (folder_ / "out").string()};
    words.insert(words.end(), more.begin(), more.end());
    return run(words, {work_, {}});
  }

  // Status 2, nothing on standard output, one sentence on standard error that begins with the program's name, holds
  // every given piece, says what to do after a semicolon, and ends with a full stop; no file anywhere.
  void expect_refused(const Ran& ran, const std::vector<std::string>& pieces) {
    EXPECT_EQ(ran.status, 2) << "signal " << ran.signal << "\n" << ran.err;
    EXPECT_EQ(ran.out, "");
    EXPECT_TRUE(ran.err.starts_with("rimwright: ")) << ran.err;
    EXPECT_TRUE(ran.err.ends_with(".\n")) << ran.err;
    EXPECT_EQ(std::count(ran.err.begin(), ran.err.end(), '\n'), 1) << ran.err;
    EXPECT_NE(ran.err.find("; "), std::string::npos) << "says nothing to do: " << ran.err;
    EXPECT_LT(ran.err.size(), 600U) << ran.err;
    for (const std::string& piece : pieces) EXPECT_THAT(ran.err, HasSubstr(piece));
    EXPECT_FALSE(fs::exists(folder_ / "out"));
    EXPECT_TRUE(fs::is_empty(work_)) << "something was written into the working folder";
  }

  void expect_scan_refused(const std::string& name, const std::string& bytes, const std::vector<std::string>& pieces,
                           const std::vector<std::string>& more = {}) {
    SCOPED_TRACE(name);
    write_text(folder_ / name, bytes);
    expect_refused(inspect(sample_plan, (folder_ / name).string(), more), pieces);
  }

  void expect_plan_refused(const std::string& text, const std::vector<std::string>& pieces) {
    SCOPED_TRACE(text);
    write_text(folder_ / "plan.yaml", text);
    expect_refused(inspect((folder_ / "plan.yaml").string(), sample_scan), pieces);
  }

  void SetUp() override { fs::create_directories(work_); }

  testing::WorkFolder folder_{"refusals"};
  fs::path work_ = folder_ / "work";
};

// Points by a rule, as text; millimetres, with 0.04 mm of noise.
template <class Rule>
std::string points(int count, Rule rule) {
  std::mt19937 random(20261125);
  std::uniform_real_distribution<double> even(0.0, 1.0);
  std::normal_distribution<double> noise(0.0, 0.04);
  std::ostringstream text;
  for (int i = 0; i < count; ++i) {
    std::array<double, 3> p = rule(even(random), even(random));
    text << p[0] + noise(random) << ' ' << p[1] + noise(random) << ' ' << p[2] + noise(random) << '\n';
  }
  return text.str();
}

TEST_F(Refusals, ScansThatAreNotThere) {
  expect_refused(inspect(sample_plan, "no-such-scan.ply"), {"no-such-scan.ply"});
  fs::create_directories(folder_ / "empty");
  expect_refused(inspect(sample_plan, (folder_ / "empty").string()), {"empty"});
  write_text(folder_ / "scan.doc", "not a scan");
  expect_refused(inspect(sample_plan, (folder_ / "scan.doc").string()), {"scan.doc"});
  fs::create_directories(folder_ / "folder.ply");
  expect_refused(inspect(sample_plan, (folder_ / "folder.ply").string()), {"folder.ply"});
  fs::create_symlink(folder_ / "nowhere", folder_ / "link.ply");
  expect_refused(inspect(sample_plan, (folder_ / "link.ply").string()), {"link.ply"});
  fs::create_symlink(folder_ / "loop.ply", folder_ / "loop.ply");
  expect_refused(inspect(sample_plan, (folder_ / "loop.ply").string()), {"loop.ply"});
  expect_refused(inspect(sample_plan, "/dev/null"), {"/dev/null"});
}

TEST_F(Refusals, ScanThatMayNotBeRead) {
  fs::copy_file(sample_scan, folder_ / "locked.ply");
  fs::permissions(folder_ / "locked.ply", fs::perms::none);
  if (::geteuid() == 0) {  // may read whatever the permissions say; so the program gives the right up
    fs::permissions(folder_.path(), fs::perms::all);
    fs::permissions(work_, fs::perms::all);
    const Ran ran =
        run({"inspect", sample_plan, (folder_ / "locked.ply").string(), "--out", (folder_ / "out").string()},
            {work_, [] {
               if (::setgid(65534) != 0 || ::setuid(65534) != 0) ::_exit(125);
             }});
    // 127: that user may not even start the program where it was built; then there is nothing to see here.
    if (ran.status != 127) expect_refused(ran, {""});
  } else {
    expect_refused(inspect(sample_plan, (folder_ / "locked.ply").string()), {"locked.ply"});
  }
}

TEST_F(Refusals, ScansThatBreakOff) {
  const std::string whole = text_of(sample_scan);
  const std::size_t header = whole.find("end_header\n") + std::strlen("end_header\n");
  expect_scan_refused("no-bytes.ply", "", {"no-bytes.ply"});
  expect_scan_refused("in-header.ply", whole.substr(0, header / 2), {"in-header.ply"});
  expect_scan_refused("no-points.ply", whole.substr(0, header), {"no-points.ply"});
  expect_scan_refused("half.ply", whole.substr(0, whole.size() / 2), {"half.ply"});
  expect_scan_refused("one-byte-short.ply", whole.substr(0, whole.size() - 1), {"one-byte-short.ply"});
}

TEST_F(Refusals, HeadersThatLie) {
  const std::string xyz = "property float x\nproperty float y\nproperty float z\nend_header\n";
  const std::string row(12, '\0');
  expect_scan_refused("many.ply", "ply\nformat binary_little_endian 1.0\nelement vertex 4000000000\n" + xyz + row,
                      {"many.ply"});
  expect_scan_refused("endless.ply", "ply\nformat ascii 1.0\nelement vertex 18446744073709551615\n" + xyz + "1 2 3\n",
                      {"endless.ply"});
  expect_scan_refused("negative.ply", "ply\nformat ascii 1.0\nelement vertex -5\n" + xyz + "1 2 3\n", {"negative.ply"});
  expect_scan_refused("lying.pcd",
                      "VERSION .7\nFIELDS x y z\nSIZE 4 4 4\nTYPE F F F\nCOUNT 1 1 1\nWIDTH 1000000000\nHEIGHT 4\n"
                      "POINTS 4000000000\nDATA binary\n" +
                          row,
                      {"lying.pcd"});
  std::string stl(84, '\0');
  stl.replace(80, 4, "\xff\xff\xff\x7f");
  expect_scan_refused("lying.stl", stl, {"lying.stl"});
  expect_scan_refused("lying.off", "OFF\n2000000000 2000000000 0\n0 0 0\n", {"lying.off"});
  std::string glb = "glTF";
  glb += std::string("\x02\0\0\0\xff\xff\xff\x7f\xff\xff\xff\x7fJSON", 16);
  expect_scan_refused("lying.glb", glb, {"lying.glb"});
  expect_scan_refused("words.xyz", "this is not\na list of points\n", {"words.xyz"});
}

TEST_F(Refusals, CloudsThatAreNoBody) {
  const std::vector<std::string> mm{"--units", "mm"};
  expect_scan_refused("one.xyz", "1 2 3\n", {"one point"}, mm);
  std::string same, nan;
  for (int i = 0; i < 20000; ++i) same += "10 20 30\n", nan += "nan nan nan\n";
  expect_scan_refused("same.xyz", same, {}, mm);
  expect_scan_refused("nan.xyz", nan, {}, mm);
  expect_scan_refused("line.xyz",
                      points(20000,
                             [](double u, double) {
                               return std::array<double, 3>{400.0 * u, 0.0, 0.0};
                             }),
                      {}, mm);
  const auto plane = [](double u, double v) { return std::array<double, 3>{400.0 * u, 300.0 * v, 0.0}; };
  expect_scan_refused("plane.xyz", points(200'000, plane), {"side"}, mm);
  expect_scan_refused("plane-auto.xyz", points(200'000, plane), {});
  expect_scan_refused(
      "ball.xyz",
      points(200'000,
             [](double u, double v) {
               const double z = 2.0 * u - 1.0, r = std::sqrt(1.0 - z * z), a = 2.0 * std::numbers::pi * v;
               return std::array<double, 3>{150.0 * r * std::cos(a), 150.0 * r * std::sin(a), 150.0 * z};
             }),
      {}, mm);
  expect_scan_refused("dome.xyz",
                      points(200'000,
                             [](double u, double v) {
                               const double x = 400.0 * u - 200.0, y = 300.0 * v - 150.0;
                               return std::array<double, 3>{x, y, -(x * x + y * y) / 12000.0};
                             }),
                      {"side"}, mm);
  expect_scan_refused("wall.xyz",
                      points(200'000,
                             [](double u, double v) {
                               const double a = std::numbers::pi * u;
                               return std::array<double, 3>{200.0 * std::cos(a), 150.0 * std::sin(a), -65.0 * v};
                             }),
                      {"top"}, mm);
  expect_scan_refused(
      "dust.xyz",
      points(200'000,
             [](double u, double v) {
               return std::array<double, 3>{300.0 * u, 300.0 * v, 300.0 * std::fmod(7919.0 * u + v, 1.0)};
             }),
      {}, mm);
}

// Real scans of other things, of the Debian package opencv-doc: the Stanford bunny and a dinosaur.
TEST_F(Refusals, ScansOfSomethingElse) {
  const std::string examples = "/usr/share/doc/opencv-doc/examples/";
  for (const std::string name : {"viz/data/bunny.ply", "surface_matching/data/parasaurolophus_6700.ply"}) {
    for (const std::string units : {"auto", "mm", "m"}) {
      SCOPED_TRACE(name + " in " + units);
      ASSERT_TRUE(fs::exists(examples + name)) << "the package opencv-doc is needed";
      expect_refused(inspect(sample_plan, examples + name, {"--units", units}), {});
    }
  }
}

TEST_F(Refusals, UnitsThatCannotBe) {
  expect_refused(inspect(sample_plan, sample_scan, {"--units", "m"}), {"m"});
  expect_refused(inspect(sample_plan, sample_scan, {"--units", "furlong"}), {"furlong"});
}

TEST_F(Refusals, PlansThatCannotBeUsed) {
  expect_refused(inspect("no-such-plan.yaml", sample_scan), {"no-such-plan.yaml"});
  expect_refused(inspect(folder_.path().string(), sample_scan), {});
  expect_refused(inspect(sample_scan, sample_scan), {"scan.ply"});
  expect_refused(inspect("/dev/zero", sample_scan), {"/dev/zero"});
  const std::string head = "instrument: T\nunits: mm\n";
  const std::string bevel =
      "bevel:\n  angle: {nominal: 124, tolerance: 1}\n  drop: {nominal: 16, tolerance: 1}\n  straightness: 0.2\n"
      "  waviness: {band: [10, 80], limit: 0.15}\n";
  const auto channel = [](const std::string& strips, const std::string& rest = "    glue: 0.05\n    proud: 0.2\n") {
    return "channels:\n  - name: binding\n    corner: top-side\n    strips: " + strips + "\n" + rest +
           "    tolerance: {width: 0.15, depth: 0.15}\n";
  };
  expect_plan_refused("", {"plan.yaml"});
  expect_plan_refused("{", {"plan.yaml", "line"});
  expect_plan_refused(head, {"plan.yaml"});
  expect_plan_refused(head + "bevle: {}\n", {"line 3, column 1", "'bevle'", "'bevel'"});
  expect_plan_refused(head + "bevel:\n  angle: {nominal: 124}\n", {"line 4", "'drop'"});
  expect_plan_refused("units: mm\n" + bevel, {"'instrument'"});
  expect_plan_refused("instrument: T\nunits: ell\n" + bevel, {"line 2, column 8", "mm, inch"});
  expect_plan_refused(head +
                          "bevel:\n  angle: {nominal: steep, tolerance: 1}\n  drop: {nominal: 16, tolerance: 1}\n"
                          "  straightness: 0.2\n  waviness: {band: [10, 80], limit: 0.15}\n",
                      {"line 4", "'steep'"});
  expect_plan_refused(head +
                          "bevel:\n  angle: {nominal: 224, tolerance: 1}\n  drop: {nominal: 16, tolerance: 1}\n"
                          "  straightness: 0.2\n  waviness: {band: [10, 80], limit: 0.15}\n",
                      {"line 4", "223 to 225"});
  expect_plan_refused(head + channel("[{name: plum, thickness: -1.8, height: 6}]"), {"line 6", "-1.8"});
  expect_plan_refused(head + channel("[{name: plum, thickness: 1.8, height: 6000}]"), {"line 6", "6000"});
  expect_plan_refused(head + channel("[]"), {"line 6"});
  expect_plan_refused(head + channel("plum"), {"line 6", "list"});
  // Wider than any top: 60 mm of strips.
  expect_plan_refused(
      head + channel("[{name: plum, thickness: 30, height: 6}, {name: pear, thickness: 30, height: 2}]"),
      {"line 6", "wide"});
  expect_plan_refused(head + channel("[{name: plum, thickness: 1.8, height: 6}]", "    glue: 0.05\n    proud: 7\n"),
                      {"proud"});
  expect_plan_refused(head + bevel + bevel, {"twice"});
}

TEST_F(Refusals, SettingsThatCannotBeUsed) {
  const auto refused = [&](const std::string& text, const std::vector<std::string>& pieces) {
    SCOPED_TRACE(text);
    write_text(folder_ / "settings.yaml", text);
    expect_refused(inspect(sample_plan, sample_scan, {"--settings", (folder_ / "settings.yaml").string()}), pieces);
  };
  expect_refused(inspect(sample_plan, sample_scan, {"--settings", "no-settings.yaml"}), {"no-settings.yaml"});
  refused("rim: {unrol: {}}\n", {"line 1, column 7", "'unrol'", "'unroll'"});
  refused("rim: {unroll: {slice_mm: 0}}\n", {"rim.unroll.slice_mm", "between 0.1 and 2"});
  refused("rim: {unroll: {slice_mm: true}}\n", {"number"});
}

TEST_F(Refusals, CommandsThatCannotBeUsed) {
  expect_refused(run({}, {work_, {}}), {"--help"});
  expect_refused(run({"inspct"}, {work_, {}}), {"'inspct'", "'inspect'"});
  expect_refused(run({"inspect"}, {work_, {}}), {"PLAN"});
  expect_refused(inspect(sample_plan, sample_scan, {"--thread", "2"}), {"--thread"});
  expect_refused(inspect(sample_plan, sample_scan, {"--threads", "-2"}), {"--threads"});
  expect_refused(inspect(sample_plan, sample_scan, {"--threads", "many"}), {"many"});
  expect_refused(inspect(sample_plan, sample_scan, {"--bar", "-1"}), {"--bar"});
  expect_refused(run({"simulate", "no-body.yaml", "--out", (folder_ / "out").string()}, {work_, {}}), {"no-body.yaml"});
}

// A pipe never ends, a device is not to be replaced, a folder is not a file and the reverse.
TEST_F(Refusals, WhatIsNoFile) {
  ASSERT_EQ(::mkfifo((folder_ / "pipe").c_str(), 0600), 0);
  const std::string pipe = (folder_ / "pipe").string();
  const std::string below_a_file = sample_scan + "/below";
  for (const std::string& path : {pipe, std::string("/dev/zero"), below_a_file}) {
    SCOPED_TRACE(path);
    expect_refused(inspect(path, sample_scan), {path});
    expect_refused(inspect(sample_plan, path), {path});
    expect_refused(inspect(sample_plan, sample_scan, {"--settings", path}), {path});
    expect_refused(run({"explain", path}, {work_, {}}), {path});
    expect_refused(run({"simulate", path, "--out", (folder_ / "out").string()}, {work_, {}}), {path});
    expect_refused(run({"history", path}, {work_, {}}), {path});
    expect_refused(run({"compare", path, path}, {work_, {}}), {path});
  }
  for (const std::string& path : {pipe, folder_.path().string(), below_a_file}) {
    SCOPED_TRACE(path);
    expect_refused(run({"target", "--out", path}, {work_, {}}), {path});
    expect_refused(run({"explain", sample_plan, "--svg", path}, {work_, {}}), {path});
  }
  EXPECT_TRUE(fs::is_fifo(folder_ / "pipe"));
}

TEST_F(Refusals, ResultsThatCannotBeUsed) {
  const fs::path result = folder_ / "passes" / "pass-0001";
  fs::create_directories(result);
  const auto refused = [&](const std::vector<std::string>& pieces) {
    expect_refused(run({"compare", result.string(), result.string()}, {work_, {}}), pieces);
    expect_refused(run({"history", (folder_ / "passes").string()}, {work_, {}}), pieces);
  };
  refused({"results.json"});
  ASSERT_EQ(::mkfifo((result / "results.json").c_str(), 0600), 0);
  refused({"results.json is not a file"});
  fs::remove(result / "results.json");
  for (const std::string& text : {std::string(), std::string("{\"format\": \"rimwright-results/1\"}"),
                                  std::string(500'000, '['), std::string("\0\xff", 2)}) {
    write_text(result / "results.json", text);
    refused({"results.json"});
  }
}

// A plan of 64 KiB at most, without anchors and aliases, so that a few lines cannot stand for gigabytes.
TEST_F(Refusals, PlansThatWouldGrow) {
  std::string aliases = "a: &a [x, x, x, x, x, x, x, x, x]\n";
  for (char c = 'b'; c < 'k'; ++c) {
    const std::string before = std::string("*") + static_cast<char>(c - 1);
    aliases += std::string(1, c) + ": &" + c + " [";
    for (int i = 0; i < 9; ++i) aliases += (i > 0 ? ", " : "") + before;
    aliases += "]\n";
  }
  expect_plan_refused(aliases, {"line 1", "anchor"});
  expect_plan_refused(std::string(60'000, '['), {"nested more than 12 deep"});
  expect_plan_refused("#" + std::string(70'000, 'x') + "\n", {"more than 65536 bytes"});
  expect_plan_refused("instrument: T\n---\nunits: mm\n", {"second document"});
  expect_plan_refused(std::string("instrument: T\0\n", 15), {"not a text file"});
}

// Not a number, endless, beyond all measure.
TEST_F(Refusals, NumbersThatAreNone) {
  const std::string plan = text_of(sample_plan);
  const auto with = [&](const std::string& from, const std::string& to) {
    const std::size_t at = plan.find(from);
    EXPECT_NE(at, std::string::npos) << from;
    return std::string(plan).replace(at, from.size(), to);
  };
  for (const std::string number : {".nan", ".inf", "0x7c", "1_24", "\"124\"", "0124", "1e308", "-1e308", "1e-300"})
    expect_plan_refused(with("nominal: 124", "nominal: " + number), {"line 4"});
  for (const std::string number : {"500", "1e-300", "-16", "0"})
    expect_plan_refused(with("nominal: 16", "nominal: " + number), {"line 5"});
  for (const std::string number : {"nan", "inf", "-inf", "1e308", "0"}) {
    expect_refused(inspect(sample_plan, sample_scan, {"--bar", number}), {"--bar", "10 to 1000"});
    expect_refused(inspect(sample_plan, sample_scan, {"--block", number}), {"--block", "10 to 500"});
  }
}

// What would act on a terminal or a page, or is not UTF-8, is no name.
TEST_F(Refusals, NamesThatCannotBeShown) {
  const std::string plan = text_of(sample_plan);
  const std::size_t end = plan.find('\n');
  for (const std::string name :
       {"\"a\\x1b[31mb\"", "\"a\\u202eb\"", "\"a\\u0085b\"", "Gitarre f\xfcr J\xfcrgen", "\"\""})
    expect_plan_refused("instrument: " + name + plan.substr(end), {"line 1, column 13", "instrument"});
  expect_plan_refused("instrument: " + std::string(201, 'x') + plan.substr(end), {"longer than 200 characters"});
}

TEST_F(Refusals, LongNamesAreShortened) {
  expect_refused(inspect(sample_plan, std::string(5000, 'a') + "/scan.ply"), {"aaa", "/scan.ply"});
  expect_refused(inspect(std::string(5000, 'a') + "/plan.yaml", sample_scan), {"aaa", "/plan.yaml"});
  expect_refused(inspect("", sample_scan), {});
  expect_refused(inspect(sample_plan, ""), {});
}

// A control character in a name does not reach the terminal.
TEST_F(Refusals, NamesAreShownSafely) {
  EXPECT_EQ(inspect(sample_plan, "a\u202Eylp.ply").err.find("\u202E"), std::string::npos);
  const Ran ran = inspect(sample_plan, "red\x1b[31m\nscan.ply");
  expect_refused(ran, {"scan.ply"});
  EXPECT_EQ(ran.err.find('\x1b'), std::string::npos);
}

TEST_F(Refusals, HelpAndVersionAreNot) {
  for (const std::vector<std::string>& words : {std::vector<std::string>{"--help"},
                                                {"--version"},
                                                {"inspect", "--help"},
                                                {"target", "--help"},
                                                {"explain", "--help"},
                                                {"simulate", "--help"},
                                                {"compare", "--help"},
                                                {"history", "--help"}}) {
    const Ran ran = run(words, {work_, {}});
    EXPECT_EQ(ran.status, 0) << words.front();
    EXPECT_THAT(ran.out, HasSubstr("rimwright"));
    EXPECT_EQ(ran.err, "");
  }
}

// At a program's end the dynamic linker has something to say about it (ld.so(8), LD_DEBUG), as libraries have at times.
TEST_F(Refusals, LibrariesAreHeardOnlyWhenAskedFor) {
  const auto heard = [&](const char* all_messages) {
    const Ran ran = run({"--version"}, {work_, [all_messages] {
                                          ::setenv("LD_DEBUG", "statistics", 1);
                                          ::setenv("RIMWRIGHT_ALL_MESSAGES", all_messages, 1);
                                        }});
    EXPECT_EQ(ran.status, 0);
    EXPECT_THAT(ran.err, HasSubstr("runtime linker statistics:\n"));  // before main
    return ran.err.find("final number of relocations") != std::string::npos;
  };
  EXPECT_FALSE(heard(""));
  EXPECT_TRUE(heard("1"));
}

}  // namespace
}  // namespace rimwright
