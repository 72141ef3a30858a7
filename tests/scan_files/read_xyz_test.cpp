#include <gtest/gtest.h>

#include <string>

#include "file_support.h"

namespace rimwright {
namespace {

using testing::count_accepted_truncations;
using testing::read_bytes;

constexpr double millionth = 1e-6;

TEST(ReadXyz, SeparatorsCommentsAndHeaders) {
  for (const std::string text :
       {"1 2 3\n4 5 6\n", "1\t2\t3\r\n4\t5\t6\r\n", "1,2,3\n4,5,6\n", "1, 2, 3\n4, 5, 6\n", "1;2;3\n4;5;6\n",
        "# made by hand\n\n// twice\n1 2 3\n\n4 5 6", "X Y Z\n1 2 3\n4 5 6\n", "scan of a body\n1 2 3\n4 5 6\n",
        "2\n1 2 3\n4 5 6\n", "x,y,z\n1,2,3,\n4,5,6,\n"}) {
    const auto scan = read_bytes("points.xyz", text);
    ASSERT_TRUE(scan) << text << scan.error().sentence();
    ASSERT_EQ(scan->cloud.size(), 2U) << text;
    EXPECT_NEAR((scan->cloud.point_mm(0) - Vector3(1, 2, 3)).norm(), 0.0, millionth) << text;
    EXPECT_NEAR((scan->cloud.point_mm(1) - Vector3(4, 5, 6)).norm(), 0.0, millionth) << text;
    EXPECT_TRUE(scan->cloud.colours.empty());
    EXPECT_TRUE(scan->cloud.normals.empty());
  }
}

TEST(ReadXyz, ColoursAndNormalsByTheirLook) {
  const auto with_colour = read_bytes("c.xyz", "1 2 3 255 128 0\n4 5 6 7 8 9\n");
  ASSERT_TRUE(with_colour);
  ASSERT_EQ(with_colour->cloud.colours.size(), 2U);
  EXPECT_EQ(with_colour->cloud.colours[0], (std::array<std::uint8_t, 3>{255, 128, 0}));

  const auto with_normal = read_bytes("n.xyz", "1 2 3 0 0 1\n4 5 6 0.6 0 0.8\n");
  ASSERT_TRUE(with_normal);
  ASSERT_EQ(with_normal->cloud.normals.size(), 2U);
  EXPECT_TRUE(with_normal->cloud.colours.empty());
  EXPECT_EQ(with_normal->cloud.normals[1].times_127, (std::array<std::int8_t, 3>{76, 0, 102}));

  const auto pts = read_bytes("i.pts", "2\n1 2 3 -1200 10 20 30\n4 5 6 -800 11 21 31\n");
  ASSERT_TRUE(pts);
  ASSERT_EQ(pts->cloud.colours.size(), 2U);
  EXPECT_EQ(pts->cloud.colours[1], (std::array<std::uint8_t, 3>{11, 21, 31}));

  const auto positive_intensity = read_bytes("i.pts", "1 2 3 12 10 20 30\n4 5 6 8 11 21 31\n");
  ASSERT_TRUE(positive_intensity);
  EXPECT_EQ(positive_intensity->cloud.colours[1], (std::array<std::uint8_t, 3>{11, 21, 31}));

  const auto both = read_bytes("b.xyz", "1 2 3 200 100 50 0 -1 0\n4 5 6 20 10 5 1 0 0\n");
  ASSERT_TRUE(both);
  EXPECT_EQ(both->cloud.colours[1], (std::array<std::uint8_t, 3>{20, 10, 5}));
  EXPECT_EQ(both->cloud.normals[0].times_127, (std::array<std::int8_t, 3>{0, -127, 0}));
}

TEST(ReadXyz, NamedColumns) {
  const auto scan =
      read_bytes("n.csv", "\"z\",label,\"y\",x,r,g,b,sigma\n3,left,2,1,9,8,7,0.5\n6,right,5,4,6,5,4,0.25\n");
  ASSERT_TRUE(scan) << scan.error().sentence();
  EXPECT_NEAR((scan->cloud.point_mm(1) - Vector3(4, 5, 6)).norm(), 0.0, millionth);
  EXPECT_EQ(scan->cloud.colours[0], (std::array<std::uint8_t, 3>{9, 8, 7}));
  EXPECT_EQ(scan->cloud.sigma_mm[1], 0.25F);
  EXPECT_FALSE(read_bytes("n.csv", "x,y,z,a\n1,2,3\n"));
}

TEST(ReadXyz, RefusesWhatItWouldHaveToGuess) {
  for (const std::string text :
       {"1,5 2,5 3,5\n", "1,5;2,5;3,5\n", "1 2\n", "1 2 3\n4 5\n", "1 2 3\n4 5 6 7\n", "1 2 3\n4 five 6\n",
        "3\n1 2 3\n4 5 6\n", "1\n1 2 3\n4 5 6\n", "99999999999\n1 2 3\n", "no numbers here\n", "# nothing\n", "\n\n"}) {
    const auto scan = read_bytes("bad.xyz", text);
    ASSERT_FALSE(scan) << text;
    EXPECT_FALSE(scan.error().what_to_do.empty());
  }
}

TEST(ReadXyz, SurvivesEveryTruncationAndChangedByte) {
  const std::string text = "2\n1 2 3 10 20 30\n4 5 6 11 21 31\n";
  // Cut within its last number, or before the last line end, it still is a whole file.
  EXPECT_LE(count_accepted_truncations("cut.pts", text), 2U);
}

}  // namespace
}  // namespace rimwright
