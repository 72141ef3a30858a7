#include <gtest/gtest.h>

#include <cmath>
#include <limits>
#include <random>
#include <string>
#include <vector>

#include "capture/read_cloud.h"
#include "file_support.h"

namespace rimwright {
namespace {

using testing::bytes_of_value;
using testing::count_accepted_truncations;
using testing::read_bytes;

constexpr double millionth = 1e-6;

TEST(ReadPly, TextWithPropertiesInAnyOrderAndFaces) {
  const std::string text =
      "ply\nformat ascii 1.0\ncomment a square\nobj_info nothing\n"
      "element vertex 4\nproperty uchar red\nproperty double z\nproperty float nx\nproperty float ny\n"
      "property float nz\nproperty int flags\nproperty float x\nproperty uchar green\nproperty uchar blue\n"
      "property float y\n"
      "element face 1\nproperty list uchar int vertex_indices\nend_header\n"
      "255 0.5 0 0 1 7 0 10 20 0\n"
      "254 0.5 0 0 2 7 1 11 21 0\n"
      "253 0.5 0 -1 0 7 1 12 22 1\n"
      "252 0.5 1 0 0 7 0 13 23 1\n"
      "4 0 1 2 3\n";
  const auto scan = read_bytes("square.ply", text);
  ASSERT_TRUE(scan) << scan.error().sentence();
  ASSERT_EQ(scan->cloud.size(), 4U);
  EXPECT_NEAR((scan->cloud.point_mm(2) - Vector3(1, 1, 0.5)).norm(), 0.0, millionth);
  EXPECT_EQ(scan->cloud.colours[1], (std::array<std::uint8_t, 3>{254, 11, 21}));
  EXPECT_EQ(scan->cloud.normals[1].times_127, (std::array<std::int8_t, 3>{0, 0, 127}));
  EXPECT_EQ(scan->cloud.normals[2].times_127, (std::array<std::int8_t, 3>{0, -127, 0}));
  ASSERT_EQ(scan->triangles.size(), 2U);
  EXPECT_EQ(scan->triangles[1], (std::array<std::uint32_t, 3>{0, 2, 3}));
  EXPECT_EQ(scan->cloud.counts.points_in_file, 4U);
}

// Of a dense scan an even share of the normals is kept, each with its point; of a mesh all are, as its faces ask for
// those of their corners.
TEST(ReadPly, NormalsOfADenseScan) {
  constexpr std::uint32_t points = 900'000;
  std::string rows;
  // The normal tells the point's number in five steps a component.
  const auto component = [](std::uint32_t point, std::uint32_t place) {
    return static_cast<float>(point / place % 5) - 2.0F;
  };
  for (std::uint32_t i = 0; i < points; ++i) {
    for (const float at : {static_cast<float>(i), 0.0F, 0.0F}) rows += bytes_of_value(at);
    for (const std::uint32_t place : {1U, 5U, 25U}) rows += bytes_of_value(component(i, place));
  }
  const auto header = [](const std::string& rest) {
    return "ply\nformat binary_little_endian 1.0\nelement vertex " + std::to_string(points) +
           "\nproperty float x\nproperty float y\nproperty float z\nproperty float nx\nproperty float ny\n"
           "property float nz\n" +
           rest + "end_header\n";
  };
  const auto dense = read_bytes("a.ply", header("") + rows, 2);
  const auto mesh = read_bytes("a.ply", header("element face 0\nproperty list uchar int vertex_indices\n") + rows, 2);
  ASSERT_TRUE(dense && mesh);
  EXPECT_EQ(mesh->cloud.normals.size(), points);
  EXPECT_GE(dense->cloud.normals.size(), 200'000U);
  EXPECT_LE(dense->cloud.normals.size(), 400'000U);
  for (const auto* scan : {&*dense, &*mesh}) {
    const std::size_t every = points / scan->cloud.normals.size();
    for (std::size_t k = 0; k < scan->cloud.normals.size(); ++k) {
      const auto& [point, times_127] = scan->cloud.normals[k];
      ASSERT_EQ(point, k * every);
      const Vector3 truth(component(point, 1), component(point, 5), component(point, 25));
      const Vector3 kept(times_127[0], times_127[1], times_127[2]);
      ASSERT_LE((kept - 127.0 * truth.normalized()).cwiseAbs().maxCoeff(), truth.norm() > 0.0 ? 0.501 : 0.0) << point;
    }
  }
}

// In blocks, whose points may be thinned, every point brings its normal.
TEST(ReadPly, NormalsInBlocks) {
  constexpr std::uint32_t points = 900'000, at_once = 100'000;
  std::string bytes = "ply\nformat binary_little_endian 1.0\nelement vertex " + std::to_string(points) +
                      "\nproperty float x\nproperty float y\nproperty float z\nproperty float nx\n"
                      "property float ny\nproperty float nz\nend_header\n";
  for (std::uint32_t i = 0; i < points; ++i)
    for (const float value : {static_cast<float>(i), 0.0F, 0.0F, i % 3 == 0 ? 1.0F : 0.0F, i % 3 == 1 ? 1.0F : 0.0F,
                              i % 3 == 2 ? 1.0F : 0.0F})
      bytes += bytes_of_value(value);
  const testing::TemporaryFile file("a.ply", bytes);
  Workers workers(2);
  std::uint32_t first = 0;
  const auto read = for_each_block(file.path(), at_once, {}, workers, [&](Cloud& block) {
    ASSERT_EQ(block.normals.size(), block.size());
    for (std::uint32_t k = 0; k < block.size(); ++k) {
      ASSERT_EQ(block.normals[k].point, k);
      ASSERT_EQ(block.normals[k].times_127.at((first + k) % 3), 127);
    }
    first += static_cast<std::uint32_t>(block.size());
  });
  ASSERT_TRUE(read);
  EXPECT_EQ(first, points);
}

// Colours that nobody wants are not kept, and nothing else changes.
TEST(ReadPly, WithoutColours) {
  const std::string header =
      "element vertex 2\nproperty float x\nproperty float y\nproperty float z\n"
      "property uchar red\nproperty uchar green\nproperty uchar blue\nproperty float sigma\n"
      "end_header\n";
  std::string rows;
  for (const float x : {1.0F, 2.0F})
    rows += bytes_of_value(x) + bytes_of_value(3.0F) + bytes_of_value(4.0F) + "abc" + bytes_of_value(0.5F);
  for (const std::string& bytes : {"ply\nformat ascii 1.0\n" + header + "1 3 4 97 98 99 0.5\n2 3 4 97 98 99 0.5\n",
                                   "ply\nformat binary_little_endian 1.0\n" + header + rows}) {
    const auto with = read_bytes("a.ply", bytes), without = read_bytes("a.ply", bytes, 1, {.keep_colours = false});
    ASSERT_TRUE(with && without);
    EXPECT_EQ(with->cloud.colours.at(1), (std::array<std::uint8_t, 3>{97, 98, 99}));
    EXPECT_TRUE(without->cloud.colours.empty());
    EXPECT_EQ(without->cloud.x, with->cloud.x);
    EXPECT_EQ(without->cloud.z, with->cloud.z);
    EXPECT_EQ(without->cloud.sigma_mm, with->cloud.sigma_mm);
  }
}

std::string binary_ply(bool big_endian, const std::vector<Vector3>& points) {
  std::string bytes = std::string("ply\nformat ") + (big_endian ? "binary_big_endian" : "binary_little_endian") +
                      " 1.0\nelement camera 1\nproperty float f\nproperty list uchar short k\nelement vertex " +
                      std::to_string(points.size()) +
                      "\nproperty double x\nproperty short tag\nproperty float y\nproperty double z\n"
                      "property ushort red\nproperty ushort green\nproperty ushort blue\nproperty float sigma\n"
                      "element face 1\nproperty uchar kind\nproperty list uchar uint vertex_index\n"
                      "element edge 1\nproperty int a\nend_header\n";
  bytes += bytes_of_value(1.0F, big_endian) + bytes_of_value(std::uint8_t{2}, big_endian) +
           bytes_of_value(std::int16_t{1}, big_endian) + bytes_of_value(std::int16_t{2}, big_endian);
  for (const Vector3& p : points) {
    bytes += bytes_of_value(p.x(), big_endian) + bytes_of_value(std::int16_t{-3}, big_endian) +
             bytes_of_value(static_cast<float>(p.y()), big_endian) + bytes_of_value(p.z(), big_endian) +
             bytes_of_value(std::uint16_t{65535}, big_endian) + bytes_of_value(std::uint16_t{32768}, big_endian) +
             bytes_of_value(std::uint16_t{0}, big_endian) + bytes_of_value(0.25F, big_endian);
  }
  bytes += bytes_of_value(std::uint8_t{9}) + bytes_of_value(std::uint8_t{3}) +
           bytes_of_value(std::uint32_t{0}, big_endian) + bytes_of_value(std::uint32_t{2}, big_endian) +
           bytes_of_value(std::uint32_t{1}, big_endian);
  bytes += bytes_of_value(std::int32_t{0});
  return bytes;
}

TEST(ReadPly, BinaryOfBothByteOrdersWithExtraElements) {
  const std::vector<Vector3> points = {{4e6 + 0.125, 1, -7e5 + 0.25}, {4e6 + 2.5, 2, -7e5}, {4e6 + 3.0625, 3, -7e5}};
  for (const bool big_endian : {false, true}) {
    const auto scan = read_bytes("three.ply", binary_ply(big_endian, points));
    ASSERT_TRUE(scan) << scan.error().sentence();
    ASSERT_EQ(scan->cloud.size(), 3U);
    // Far from the file's origin, where floats are half a unit apart, nothing may be lost.
    for (std::size_t i = 0; i < 3; ++i) EXPECT_EQ((scan->cloud.point_mm(i) - points[i]).norm(), 0.0);
    EXPECT_EQ(scan->cloud.colours[0], (std::array<std::uint8_t, 3>{255, 128, 0}));
    EXPECT_EQ(scan->cloud.sigma_mm[2], 0.25F);
    ASSERT_EQ(scan->triangles.size(), 1U);
    EXPECT_EQ(scan->triangles[0], (std::array<std::uint32_t, 3>{0, 2, 1}));
  }
}

TEST(ReadPly, VerticesThatCarryLists) {
  std::string bytes =
      "ply\nformat binary_little_endian 1.0\nelement vertex 3\nproperty float x\nproperty list uchar int seen_by\n"
      "property float y\nproperty float z\nproperty uchar red\nproperty uchar green\nproperty uchar blue\nend_header\n";
  for (int i = 0; i < 3; ++i) {
    bytes += bytes_of_value(static_cast<float>(i)) + bytes_of_value(static_cast<std::uint8_t>(i));
    for (int k = 0; k < i; ++k) bytes += bytes_of_value(std::int32_t{7});
    bytes += bytes_of_value(2.0F * static_cast<float>(i)) + bytes_of_value(5.0F) + "\x01\x02\x03";
  }
  const auto scan = read_bytes("lists.ply", bytes);
  ASSERT_TRUE(scan) << scan.error().sentence();
  ASSERT_EQ(scan->cloud.size(), 3U);
  EXPECT_NEAR((scan->cloud.point_mm(2) - Vector3(2, 4, 5)).norm(), 0.0, millionth);
  EXPECT_EQ(scan->cloud.colours[2], (std::array<std::uint8_t, 3>{1, 2, 3}));
  EXPECT_EQ(count_accepted_truncations("lists.ply", bytes), 0U);
}

TEST(ReadPly, CarriageReturnsAndBlankEnds) {
  const auto scan = read_bytes("crlf.ply",
                               "ply\r\nformat ascii 1.0\r\nelement vertex 2\r\nproperty float x\r\nproperty float y\r\n"
                               "property float z\r\nend_header\r\n1 2 3 \r\n+4 -5.5e1 6.25\r\n");
  ASSERT_TRUE(scan) << scan.error().sentence();
  EXPECT_NEAR((scan->cloud.point_mm(1) - Vector3(4, -55, 6.25)).norm(), 0.0, millionth);
}

std::string text_ply(const std::string& vertex_count, const std::string& rows) {
  return "ply\nformat ascii 1.0\nelement vertex " + vertex_count +
         "\nproperty float x\nproperty float y\nproperty float z\nend_header\n" + rows;
}

TEST(ReadPly, RefusesWhatIsNoPly) {
  const auto reason_of = [](const std::string& bytes) {
    const auto scan = read_bytes("bad.ply", bytes);
    if (scan) return std::string("accepted");
    EXPECT_NE(scan.error().what.find("bad.ply"), std::string::npos);
    EXPECT_FALSE(scan.error().what_to_do.empty());
    return std::string(name_of(scan.error().reason));
  };
  EXPECT_EQ(reason_of(""), "too few points");
  EXPECT_EQ(reason_of("plywood"), "file malformed");
  EXPECT_EQ(reason_of("ply\nformat ascii 1.0\nelement vertex 1\n"), "file truncated");
  EXPECT_EQ(reason_of(text_ply("0", "")), "too few points");
  EXPECT_EQ(reason_of(text_ply("10", "1 2 3\n4 5 6\n")), "file truncated");
  EXPECT_EQ(reason_of(text_ply("-1", "1 2 3\n")), "file malformed");
  EXPECT_EQ(reason_of(text_ply("1e9", "1 2 3\n")), "file malformed");
  EXPECT_EQ(reason_of(text_ply("99999999999999999999999", "1 2 3\n")), "file malformed");
  EXPECT_EQ(reason_of(text_ply("18446744073709551615", "1 2 3\n")), "file truncated");
  EXPECT_EQ(reason_of(text_ply("1", "1 2\n")), "file malformed");
  EXPECT_EQ(reason_of(text_ply("1", "1 2 3 4\n")), "file malformed");
  EXPECT_EQ(reason_of(text_ply("1", "1 2 three\n")), "file malformed");
  EXPECT_EQ(reason_of(text_ply("1", "1,5 2 3\n")), "file malformed");
  EXPECT_EQ(reason_of("ply\nformat ascii 1.0\nelement vertex 1\nproperty float x\nproperty float y\nend_header\n1 2\n"),
            "file malformed");
  EXPECT_EQ(reason_of("ply\nformat ascii 1.0\nelement face 1\nproperty list uchar int vertex_indices\nend_header\n"
                      "3 0 1 2\n"),
            "file malformed");
  EXPECT_EQ(reason_of("ply\nformat ascii 1.0\nelement vertex 9000000000\nend_header\n"), "file malformed");
  EXPECT_EQ(reason_of("ply\nformat ascii 2.0\nelement vertex 1\nend_header\n"), "file malformed");
  EXPECT_EQ(reason_of("ply\nformat ascii 1.0\nelement vertex 1\nproperty list float int x\nend_header\n"),
            "file malformed");
}

TEST(ReadPly, NamesTheLineAtFault) {
  const auto scan = read_bytes("bad.ply", text_ply("3", "1 2 3\n4 5 6\n7 8 nine\n"));
  ASSERT_FALSE(scan);
  EXPECT_NE(scan.error().what.find("line 10"), std::string::npos) << scan.error().what;
  EXPECT_NE(scan.error().what.find("'nine'"), std::string::npos) << scan.error().what;
}

TEST(ReadPly, RefusesLyingFaces) {
  const auto with_faces = [](const std::string& count, const std::string& rows) {
    return read_bytes("faces.ply",
                      "ply\nformat ascii 1.0\nelement vertex 3\nproperty float x\nproperty float y\nproperty float z\n"
                      "element face " +
                          count + "\nproperty list int int vertex_indices\nend_header\n0 0 0\n1 0 0\n0 1 0\n" + rows);
  };
  EXPECT_TRUE(with_faces("1", "3 0 1 2\n"));
  EXPECT_TRUE(with_faces("1", "2 0 1\n"));  // a line has no area and adds nothing
  EXPECT_FALSE(with_faces("1", "3 0 1 3\n"));
  EXPECT_FALSE(with_faces("1", "3 0 1 -1\n"));
  EXPECT_FALSE(with_faces("1", "3 0 1 1.5\n"));
  EXPECT_FALSE(with_faces("1", "-3 0 1 2\n"));
  EXPECT_FALSE(with_faces("1", "2000000000 0 1 2\n"));
  EXPECT_FALSE(with_faces("2", "3 0 1 2\n"));
  EXPECT_FALSE(with_faces("1", "3 0 1\n"));
}

TEST(ReadPly, LyingBinaryCountsAreTruncations) {
  const std::string head =
      "ply\nformat binary_little_endian 1.0\nelement vertex 2\nproperty float x\nproperty float y\nproperty float z\n"
      "element face 1\nproperty list int int vertex_indices\nend_header\n";
  std::string points;
  for (int i = 0; i < 6; ++i) points += bytes_of_value(static_cast<float>(i));
  const auto negative = read_bytes("face.ply", head + points + bytes_of_value(std::int32_t{-1}));
  ASSERT_FALSE(negative);
  EXPECT_EQ(negative.error().reason, RefusalReason::file_malformed);
  const auto huge = read_bytes("face.ply", head + points + bytes_of_value(std::int32_t{2'000'000'000}));
  ASSERT_FALSE(huge);
  EXPECT_EQ(huge.error().reason, RefusalReason::file_truncated);
}

TEST(ReadPly, SurvivesEveryTruncationAndChangedByte) {
  const std::vector<Vector3> points = {{1, 2, 3}, {4, 5, 6}, {7, 8, 9}};
  // All but the last element (which is of no interest) must be whole.
  EXPECT_LE(count_accepted_truncations("cut.ply", binary_ply(false, points)), sizeof(std::int32_t));
  // A text file cut within its last number still is a whole file.
  EXPECT_LE(count_accepted_truncations("cut.ply", text_ply("2", "1 2 3\n4 5 6.5\n")), 3U);
}

TEST(ReadPly, NotFiniteAndHugeNumbersArriveAsNotFinite) {
  const auto scan = read_bytes("nan.ply", text_ply("3", "nan 0 0\n1e300 0 0\n0 0 -inf\n"));
  ASSERT_TRUE(scan) << scan.error().sentence();
  EXPECT_FALSE(std::isfinite(scan->cloud.x[0]));
  EXPECT_FALSE(std::isfinite(scan->cloud.x[1]));
  EXPECT_FALSE(std::isfinite(scan->cloud.z[2]));
}

// A file of many blocks and chunks, against the numbers it was written from, for one and two threads.
TEST(ReadPly, LargeFilesAreTheSameForAnyNumberOfThreads) {
  constexpr std::size_t count = 150'000;
  constexpr unsigned seed = 20261;
  SCOPED_TRACE("seed " + std::to_string(seed));
  std::mt19937 random(seed);
  std::uniform_real_distribution<float> place(-300.0F, 300.0F);
  std::vector<std::array<float, 3>> points(count);
  for (auto& p : points) p = {place(random), place(random), place(random)};
  const std::string fields = "\nproperty float x\nproperty float y\nproperty float z\nend_header\n";
  std::string binary = "ply\nformat binary_little_endian 1.0\nelement vertex " + std::to_string(count) + fields;
  std::string text = "ply\nformat ascii 1.0\nelement vertex " + std::to_string(count) + fields;
  for (const auto& p : points) {
    for (const float value : p) binary += bytes_of_value(value);
    std::array<char, 80> line{};
    std::snprintf(line.data(), line.size(), "%.9g %.9g %.9g\n", static_cast<double>(p[0]), static_cast<double>(p[1]),
                  static_cast<double>(p[2]));
    text += line.data();
  }
  for (const std::string* bytes : {&binary, &text}) {
    const auto one = read_bytes("large.ply", *bytes, 1);
    const auto two = read_bytes("large.ply", *bytes, 2);
    ASSERT_TRUE(one && two);
    ASSERT_EQ(one->cloud.size(), count);
    EXPECT_EQ(one->cloud.x, two->cloud.x);
    EXPECT_EQ(one->cloud.y, two->cloud.y);
    EXPECT_EQ(one->cloud.z, two->cloud.z);
    EXPECT_EQ(one->cloud.origin_mm, two->cloud.origin_mm);
    double worst = 0.0;
    for (std::size_t i = 0; i < count; ++i) {
      const Vector3 truth(points[i][0], points[i][1], points[i][2]);
      worst = std::max(worst, (one->cloud.point_mm(i) - truth).cwiseAbs().maxCoeff());
    }
    // Half a step of float at 600, the farthest an offset from the local origin can be.
    EXPECT_LE(worst, 600.0 * std::numeric_limits<float>::epsilon() / 2.0);
  }
}

TEST(ReadPly, BlocksHoldThePointsOfTheWholeFile) {
  std::vector<Vector3> points;
  for (int i = 0; i < 1000; ++i) points.emplace_back(i, 2 * i, 3 * i);
  const testing::TemporaryFile file("blocks.ply", binary_ply(false, points));
  Workers workers(2);
  Cloud all;
  std::size_t blocks = 0;
  const auto done = for_each_block(file.path(), 300, {}, workers, [&](Cloud& block) {
    ++blocks;
    EXPECT_LE(block.size(), 300U);
    all.origin_mm = block.origin_mm;
    all.x.insert(all.x.end(), block.x.begin(), block.x.end());
  });
  ASSERT_TRUE(done) << done.error().sentence();
  EXPECT_EQ(blocks, 4U);
  const auto whole = read_cloud(file.path(), {}, workers);
  ASSERT_TRUE(whole);
  EXPECT_EQ(all.x, whole->cloud.x);
  EXPECT_EQ(all.origin_mm, whole->cloud.origin_mm);
}

TEST(ReadPly, FilesThatAreNotThere) {
  Workers workers(1);
  const auto missing = read_cloud("/no/such/scan.ply", {}, workers);
  ASSERT_FALSE(missing);
  EXPECT_EQ(missing.error().reason, RefusalReason::file_not_found);
  const auto folder = read_cloud(std::filesystem::temp_directory_path(), {}, workers);
  ASSERT_FALSE(folder);
  EXPECT_EQ(folder.error().reason, RefusalReason::file_not_readable);
  const auto device = read_cloud("/dev/zero", {}, workers);
  ASSERT_FALSE(device);
  EXPECT_EQ(device.error().reason, RefusalReason::file_not_readable);
}

}  // namespace
}  // namespace rimwright
