// rimwright inspect on whole scans: exit status, where it writes, and that the answer depends on the body alone: not
// on threads, pose, unit or hand.
#include <gmock/gmock.h>

#include <Eigen/Geometry>
#include <array>
#include <cmath>
#include <cstring>
#include <limits>
#include <nlohmann/json.hpp>
#include <optional>

#include "program.h"

namespace rimwright {
namespace {

namespace fs = std::filesystem;
using Eigen::Vector3d;
using nlohmann::json;
using ::testing::HasSubstr;
using testing::Ran;
using testing::run;
using testing::sample_plan;
using testing::sample_scan;
using testing::text_of;
using testing::write_text;

// The sample's points: three floats a row after the header.
std::vector<Vector3d> sample_points() {
  const std::string bytes = text_of(sample_scan);
  const std::string mark = "end_header\n";
  std::vector<Vector3d> points;
  for (std::size_t at = bytes.find(mark) + mark.size(); at + 12 <= bytes.size(); at += 12) {
    std::array<float, 3> row{};
    std::memcpy(row.data(), bytes.data() + at, 12);
    points.emplace_back(row[0], row[1], row[2]);
  }
  return points;
}

template <class Move>
void write_moved(const fs::path& path, Move move) {
  const std::vector<Vector3d> points = sample_points();
  std::string bytes = "ply\nformat binary_little_endian 1.0\nelement vertex " + std::to_string(points.size()) +
                      "\nproperty double x\nproperty double y\nproperty double z\nend_header\n";
  for (const Vector3d& point : points) {
    const Vector3d moved = move(point);
    bytes.append(reinterpret_cast<const char*>(moved.data()), 3 * sizeof(double));
  }
  write_text(path, bytes);
}

class Inspect : public ::testing::Test {
 protected:
  Ran inspect(const std::string& plan, const std::string& scan, const std::string& out,
              std::vector<std::string> more = {}) const {
    std::vector<std::string> words{"inspect", plan, scan, "--out", (folder_ / out).string(), "--quiet"};
    words.insert(words.end(), more.begin(), more.end());
    return run(words, {folder_.path(), {}});
  }
  [[nodiscard]] json results(const std::string& out) const {
    return json::parse(text_of(folder_ / out / "results.json"));
  }
  testing::WorkFolder folder_{"inspect"};
};

// The bevel's stations of one result and, of another, what it says at the same places of the rim: stations begin
// anywhere, so that its values are interpolated between the two stations about the place.
struct StationPair {
  const json* a = nullptr;
  const json *b0 = nullptr, *b1 = nullptr;
  double share = 0.0;  // of b1
  double apart_mm = std::numeric_limits<double>::infinity();

  [[nodiscard]] std::optional<double> b(const std::string& key) const {
    const json &x = (*b0)[key], &y = (*b1)[key];
    if (x.is_null() || y.is_null()) return std::nullopt;
    return (1.0 - share) * x.get<double>() + share * y.get<double>();
  }
};
std::vector<StationPair> pair_stations(const json& a, const json& b,
                                       const std::function<Vector3d(Vector3d)>& b_from_a) {
  std::vector<StationPair> pairs;
  const auto at = [](const json& station) {
    return Vector3d(station["at"][0].get<double>(), station["at"][1].get<double>(), station["at"][2].get<double>());
  };
  const json& others = b["bevel"]["stations"];
  for (const json& station : a["bevel"]["stations"]) {
    const Vector3d wanted = b_from_a(at(station));
    StationPair best;
    for (std::size_t i = 1; i < others.size(); ++i) {
      const Vector3d from = at(others[i - 1]), along = at(others[i]) - from;
      const double share = std::clamp((wanted - from).dot(along) / along.squaredNorm(), 0.0, 1.0);
      const double apart_mm = (from + share * along - wanted).norm();
      if (apart_mm < best.apart_mm) best = {&station, &others[i - 1], &others[i], share, apart_mm};
    }
    if (best.a != nullptr) pairs.push_back(best);
  }
  return pairs;
}

// The same body measured from the same points in another guise: cells, windows and the start of the rim fall
// differently, so that numbers may differ by a share of their own uncertainty, no more. `share` of stations agree
// within half their U95; the median difference is a tenth of it.
void expect_same_numbers(const json& a, const json& b, const std::function<Vector3d(Vector3d)>& b_from_a) {
  const std::vector<StationPair> pairs = pair_stations(a, b, b_from_a);
  ASSERT_GT(pairs.size(), 200U);
  for (const std::string quantity : {"angle", "drop", "top_reach"}) {
    const std::string key = quantity + (quantity == "angle" ? "_deg" : "_mm");
    const std::string u_key = quantity + (quantity == "angle" ? "_u95_deg" : "_u95_mm");
    std::vector<double> in_u95;
    int one_sided = 0;
    for (const StationPair& pair : pairs) {
      const json& x = (*pair.a)[key];
      const std::optional<double> y = pair.b(key);
      if (x.is_null() == y.has_value()) ++one_sided;
      if (x.is_null() || !y) continue;
      in_u95.push_back(std::abs(x.get<double>() - *y) / (*pair.a)[u_key].get<double>());
    }
    ASSERT_GT(in_u95.size(), 150U) << quantity;
    std::sort(in_u95.begin(), in_u95.end());
    EXPECT_LT(in_u95[in_u95.size() / 2], 0.2) << quantity;
    EXPECT_LT(in_u95[in_u95.size() * 95 / 100], 1.0) << quantity;
    EXPECT_LT(one_sided, static_cast<int>(pairs.size() / 20))
        << quantity << " is there in one guise and not in the other";
  }
  // `at` lies on one rim corner, whose place across the rim is as sure as the drop.
  std::vector<double> apart;
  for (const StationPair& pair : pairs) apart.push_back(pair.apart_mm);
  std::sort(apart.begin(), apart.end());
  EXPECT_LT(apart[apart.size() * 95 / 100], 0.06);
}

TEST_F(Inspect, OutOfToleranceIsOne) {
  const Ran ran = run({"inspect", sample_plan, sample_scan}, {folder_.path(), {}});
  EXPECT_EQ(ran.status, 1) << ran.err;
  EXPECT_EQ(ran.err, "") << "progress is for terminals";
  EXPECT_THAT(ran.out, HasSubstr(": fail\n"));
  EXPECT_THAT(ran.out, HasSubstr("lower the cutter"));
  // All into the usual folder, nothing beside it.
  std::vector<std::string> beside, inside;
  for (const auto& entry : fs::directory_iterator(folder_.path())) beside.push_back(entry.path().filename().string());
  EXPECT_THAT(beside, ::testing::ElementsAre("rimwright-out"));
  for (const auto& entry : fs::directory_iterator(folder_ / "rimwright-out"))
    inside.push_back(entry.path().filename().string());
  EXPECT_THAT(inside,
              ::testing::IsSupersetOf({"results.json", "report.html", "stations.csv", "heatmap.png", "heatmap.ply"}));
  const json answer = results("rimwright-out");
  EXPECT_EQ(answer["format"], "rimwright-results/1");
  EXPECT_EQ(answer["verdict"], "fail");
}

TEST_F(Inspect, PassIsZero) {
  const fs::path body = testing::simulate("partial-rim", folder_);
  const Ran ran = inspect((body / "plan.yaml").string(), (body / "scan.ply").string(), "out");
  EXPECT_EQ(ran.status, 0) << ran.err;
  EXPECT_EQ(ran.out + ran.err, "") << "--quiet";
  EXPECT_EQ(results("out")["verdict"], "pass");
  EXPECT_TRUE(results("out")["findings"].empty());
}

// A depth sensor's noise of 1.2 mm decides nothing about a channel within 0.15 mm.
TEST_F(Inspect, UndecidedIsThree) {
  const fs::path body = testing::simulate("phone-depth", folder_);
  const Ran ran = inspect((body / "plan.yaml").string(), (body / "scan.ply").string(), "out");
  EXPECT_EQ(ran.status, 3) << ran.err;
  EXPECT_EQ(results("out")["verdict"], "undecided");
}

// Memory is the one fault that can be brought about from outside. The libraries take about 300 MB of address space,
// the scan's 30 million points 360 MB at least.
TEST_F(Inspect, NoMemoryIsAnInternalFaultAndSaysSo) {
  const auto limit = [] {
    const rlimit most{rlim_t{450} << 20, rlim_t{450} << 20};
    ::setrlimit(RLIMIT_AS, &most);
  };
  const std::string header =
      "ply\nformat binary_little_endian 1.0\nelement vertex 30000000\nproperty float x\n"
      "property float y\nproperty float z\nend_header\n";
  write_text(folder_ / "large.ply", header);
  fs::resize_file(folder_ / "large.ply", header.size() + 360'000'000U);  // sparse: takes no room
  const Ran ran =
      run({"inspect", sample_plan, (folder_ / "large.ply").string(), "--threads", "1"}, {folder_.path(), limit});
  EXPECT_EQ(ran.status, 4) << ran.err;
  EXPECT_THAT(ran.err, HasSubstr("rimwright: internal fault: not enough memory"));
  EXPECT_FALSE(fs::exists(folder_ / "rimwright-out"));
}

TEST_F(Inspect, ThreadsDoNotChangeTheAnswer) {
  for (const std::string threads : {"1", "2", "3"})
    ASSERT_EQ(inspect(sample_plan, sample_scan, "threads-" + threads, {"--threads", threads}).status, 1);
  for (const std::string name : {"results.json", "stations.csv", "heatmap.ply", "heatmap.png", "faces.ply"}) {
    const std::string one = text_of(folder_ / "threads-1" / name);
    EXPECT_GT(one.size(), 1000U) << name;
    EXPECT_TRUE(one == text_of(folder_ / "threads-2" / name)) << name << " differs between 1 and 2 threads";
    EXPECT_TRUE(one == text_of(folder_ / "threads-3" / name)) << name << " differs between 1 and 3 threads";
  }
}

TEST_F(Inspect, AnswersInTheScansOwnCoordinates) {
  ASSERT_EQ(inspect(sample_plan, sample_scan, "as-given").status, 1);
  // Far from the origin, turned about no special axis.
  const Eigen::Isometry3d pose =
      Eigen::Translation3d(1500.0, -2300.0, 870.0) * Eigen::AngleAxisd(2.1, Vector3d(0.3, -0.7, 0.5).normalized());
  write_moved(folder_ / "moved.ply", [&](const Vector3d& point) { return Vector3d(pose * point); });
  ASSERT_EQ(inspect(sample_plan, (folder_ / "moved.ply").string(), "moved").status, 1);
  expect_same_numbers(results("as-given"), results("moved"), [&](const Vector3d& at) { return Vector3d(pose * at); });
}

TEST_F(Inspect, UnitsGivenAndFound) {
  ASSERT_EQ(inspect(sample_plan, sample_scan, "mm", {"--units", "mm"}).status, 1);
  const json mm = results("mm");
  for (const auto& [unit, factor] : {std::pair<std::string, double>{"inch", 25.4}, {"m", 1000.0}, {"cm", 10.0}}) {
    SCOPED_TRACE(unit);
    write_moved(folder_ / (unit + ".ply"), [&](const Vector3d& point) { return Vector3d(point / factor); });
    ASSERT_EQ(inspect(sample_plan, (folder_ / (unit + ".ply")).string(), unit, {"--units", unit}).status, 1);
    const json given = results(unit);
    EXPECT_DOUBLE_EQ(given["scan"]["scale"].get<double>(), factor);
    EXPECT_EQ(given["units"], "mm");
    expect_same_numbers(mm, given,
                        [](const Vector3d& at) { return at; });  // `at` is in millimetres whatever the scan is in
  }
  // Found without being told, where it is in no doubt; the source of the scale says so.
  ASSERT_EQ(inspect(sample_plan, (folder_ / "m.ply").string(), "found").status, 1);
  EXPECT_DOUBLE_EQ(results("found")["scan"]["scale"].get<double>(), 1000.0);
  EXPECT_NE(results("found")["scan"]["scale_source"], results("m")["scan"]["scale_source"]);
}

TEST_F(Inspect, ALeftHandedBodyIsTheSameJob) {
  ASSERT_EQ(inspect(sample_plan, sample_scan, "right").status, 1);
  const auto mirrored = [](const Vector3d& point) { return Vector3d(-point.x(), point.y(), point.z()); };
  write_moved(folder_ / "left.ply", mirrored);
  ASSERT_EQ(inspect(sample_plan, (folder_ / "left.ply").string(), "left").status, 1);
  expect_same_numbers(results("right"), results("left"), mirrored);
}

TEST_F(Inspect, SettingsThatDifferAreTold) {
  write_text(folder_ / "settings.yaml",
             "measure:\n  fit:\n    station_step_mm: 2\nrim: {gather: {largest_cell_mm: 12}}\n");
  ASSERT_EQ(inspect(sample_plan, sample_scan, "out", {"--settings", (folder_ / "settings.yaml").string()}).status, 1);
  EXPECT_EQ(results("out")["settings"], json({{"measure.fit.station_step_mm", "2"}})) << "defaults are not told";
  ASSERT_EQ(inspect(sample_plan, sample_scan, "usual").status, 1);
  EXPECT_TRUE(results("usual")["settings"].empty());
  const auto count = [&](const std::string& out) { return results(out)["bevel"]["stations"].size(); };
  EXPECT_NEAR(static_cast<double>(count("usual")) / static_cast<double>(count("out")), 2.0, 0.05);
}

TEST_F(Inspect, ProgressOnlyWhereAsked) {
  const Ran ran = run({"inspect", sample_plan, sample_scan, "--progress"}, {folder_.path(), {}});
  EXPECT_EQ(ran.status, 1);
  EXPECT_THAT(ran.err, HasSubstr("measuring"));
  EXPECT_THAT(ran.out, ::testing::Not(HasSubstr("measuring")));
}

TEST_F(Inspect, TargetOfAnotherBoard) {
  write_text(
      folder_ / "settings.yaml",
      "photos: {target: {squares_across: 7, squares_down: 5, square_mm: 25, marker_mm: 18, dictionary: 4X4_50}}\n");
  EXPECT_EQ(run({"target", "--out", "usual.pdf"}, {folder_.path(), {}}).status, 0);
  EXPECT_EQ(run({"target", "--out", "other.pdf", "--settings", "settings.yaml"}, {folder_.path(), {}}).status, 0);
  EXPECT_TRUE(text_of(folder_ / "other.pdf").starts_with("%PDF"));
  EXPECT_NE(text_of(folder_ / "usual.pdf"), text_of(folder_ / "other.pdf"));
}

}  // namespace
}  // namespace rimwright
