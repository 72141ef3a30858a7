#include <gtest/gtest.h>

#include <cmath>
#include <string>
#include <vector>

#include "file_support.h"

namespace rimwright {
namespace {

using testing::bytes_of_value;
using testing::count_accepted_truncations;
using testing::read_bytes;

constexpr double millionth = 1e-6;

std::string header(const std::string& data, const std::string& width = "2", const std::string& points = "2") {
  return "# .PCD v.7 - Point Cloud Data file format\nVERSION .7\nFIELDS intensity z rgb y histogram x\n"
         "SIZE 4 4 4 8 2 4\nTYPE F F U F U F\nCOUNT 1 1 1 1 3 1\nWIDTH " +
         width + "\nHEIGHT 1\nVIEWPOINT 0 0 0 1 0 0 0\nPOINTS " + points + "\nDATA " + data + "\n";
}

std::string row(float x, double y, float z, std::uint32_t rgb) {
  std::string bytes = bytes_of_value(0.5F) + bytes_of_value(z) + bytes_of_value(rgb) + bytes_of_value(y);
  for (int i = 0; i < 3; ++i) bytes += bytes_of_value(std::uint16_t{9});
  return bytes + bytes_of_value(x);
}

void expect_two_points(const Outcome<ScanFile>& scan) {
  ASSERT_TRUE(scan) << scan.error().sentence();
  ASSERT_EQ(scan->cloud.size(), 2U);
  EXPECT_NEAR((scan->cloud.point_mm(0) - Vector3(1, 2, 3)).norm(), 0.0, millionth);
  EXPECT_NEAR((scan->cloud.point_mm(1) - Vector3(-4, 5.5, 6)).norm(), 0.0, millionth);
  EXPECT_EQ(scan->cloud.colours[0], (std::array<std::uint8_t, 3>{1, 2, 3}));
  EXPECT_EQ(scan->cloud.colours[1], (std::array<std::uint8_t, 3>{255, 0, 128}));
}

const std::string text_file = header("ascii") + "0.5 3 66051 2 9 9 9 1\n0.5 6 16711808 5.5 9 9 9 -4\n";

std::string binary_file() { return header("binary") + row(1, 2, 3, 0x010203) + row(-4, 5.5, 6, 0xff0080); }

// Field after field, packed as literal runs and one back reference by hand.
std::string compressed_file() {
  std::string full;
  for (int i = 0; i < 2; ++i) full += bytes_of_value(0.5F);
  full += bytes_of_value(3.0F) + bytes_of_value(6.0F);
  full += bytes_of_value(std::uint32_t{0x010203}) + bytes_of_value(std::uint32_t{0xff0080});
  full += bytes_of_value(2.0) + bytes_of_value(5.5);
  for (int i = 0; i < 6; ++i) full += bytes_of_value(std::uint16_t{9});
  full += bytes_of_value(1.0F) + bytes_of_value(-4.0F);
  std::string packed;
  packed += static_cast<char>(3);  // a run of four: the first 0.5
  packed += full.substr(0, 4);
  packed += static_cast<char>((4 - 2) << 5);  // four bytes from four bytes back: the second 0.5
  packed += static_cast<char>(4 - 1);
  for (std::size_t at = 8; at < full.size(); at += 32) {
    const std::size_t length = std::min<std::size_t>(32, full.size() - at);
    packed += static_cast<char>(length - 1);
    packed += full.substr(at, length);
  }
  return header("binary_compressed") + bytes_of_value(static_cast<std::uint32_t>(packed.size())) +
         bytes_of_value(static_cast<std::uint32_t>(full.size())) + packed;
}

TEST(ReadPcd, AsciiBinaryAndCompressed) {
  expect_two_points(read_bytes("two.pcd", text_file));
  expect_two_points(read_bytes("two.pcd", binary_file()));
  expect_two_points(read_bytes("two.pcd", compressed_file()));
}

TEST(ReadPcd, ColourAsTheBitsOfAFloat) {
  const auto scan = read_bytes("rgb.pcd",
                               "VERSION .7\nFIELDS x y z rgb\nSIZE 4 4 4 4\nTYPE F F F F\nCOUNT 1 1 1 1\nWIDTH 1\n"
                               "HEIGHT 1\nPOINTS 1\nDATA ascii\n1 2 3 9.2557435e-41\n");
  ASSERT_TRUE(scan) << scan.error().sentence();
  EXPECT_EQ(scan->cloud.colours[0], (std::array<std::uint8_t, 3>{1, 2, 3}));  // 0x010203 = 66051 x 2^-149
}

TEST(ReadPcd, RefusesLyingHeaders) {
  const auto reason_of = [](const std::string& bytes) {
    const auto scan = read_bytes("bad.pcd", bytes);
    return scan ? std::string("accepted") : std::string(name_of(scan.error().reason));
  };
  const std::string rows = row(1, 2, 3, 0) + row(4, 5, 6, 0);
  EXPECT_EQ(reason_of(header("binary", "3", "3") + rows), "file truncated");
  EXPECT_EQ(reason_of(header("binary", "4000000000000000000", "4000000000000000000") + rows), "file over limit");
  EXPECT_EQ(reason_of(header("binary", "2", "3") + rows), "file malformed");
  EXPECT_EQ(reason_of(header("binary", "-2", "-2") + rows), "file malformed");
  EXPECT_EQ(reason_of(header("binary", "0", "0") + rows), "too few points");
  EXPECT_EQ(reason_of(header("zipped") + rows), "file malformed");
  EXPECT_EQ(reason_of(header("ascii", "3", "3") + "0 3 0 2 9 9 9 1\n"), "file truncated");
  EXPECT_EQ(reason_of(header("ascii", "1", "1") + "0 3 0 2 9 9 9 1\n0 3 0 2 9 9 9 1\n"), "file malformed");
  EXPECT_EQ(reason_of(header("ascii", "100000000", "100000000") + "0 3 0 2 9 9 9 1\n"), "file truncated");
  EXPECT_EQ(reason_of("VERSION .7\nFIELDS x y\nSIZE 4 4\nTYPE F F\nCOUNT 1 1\nPOINTS 1\nDATA ascii\n1 2\n"),
            "file malformed");
  EXPECT_EQ(reason_of("VERSION .7\nFIELDS x y z\nSIZE 4 4 3\n"), "file malformed");
  EXPECT_EQ(reason_of("VERSION .7\nFIELDS x y z\nSIZE 2 2 2\nTYPE F F F\nPOINTS 1\nDATA ascii\n1 2 3\n"),
            "file malformed");
  // Compressed: a stated size that no compression could reach is not allocated.
  const std::string lie = header("binary_compressed", "100000000", "100000000") + bytes_of_value(std::uint32_t{10}) +
                          bytes_of_value(std::uint32_t{3'000'000'000U}) + std::string(10, '\0');
  EXPECT_EQ(reason_of(lie), "file malformed");
}

TEST(ReadPcd, SurvivesEveryTruncationAndChangedByte) {
  EXPECT_EQ(count_accepted_truncations("cut.pcd", binary_file()), 0U);
  EXPECT_EQ(count_accepted_truncations("cut.pcd", compressed_file()), 0U);
  EXPECT_LE(count_accepted_truncations("cut.pcd", text_file), 1U);  // the last line end may be missing
}

TEST(ReadPcd, BlocksOfEveryEncodingHoldTheSamePoints) {
  Workers workers(2);
  for (const std::string& bytes : {text_file, binary_file(), compressed_file()}) {
    const testing::TemporaryFile file("blocks.pcd", bytes);
    std::vector<Vector3> points;
    const auto done = for_each_block(file.path(), 1, {}, workers, [&](Cloud& block) {
      for (std::size_t i = 0; i < block.size(); ++i) points.push_back(block.point_mm(i));
    });
    ASSERT_TRUE(done) << done.error().sentence();
    ASSERT_EQ(points.size(), 2U);
    EXPECT_NEAR((points[0] - Vector3(1, 2, 3)).norm(), 0.0, millionth);
    EXPECT_NEAR((points[1] - Vector3(-4, 5.5, 6)).norm(), 0.0, millionth);
  }
}

}  // namespace
}  // namespace rimwright
