#include "capture/read_thinned.h"

#include <gtest/gtest.h>

#include <cmath>
#include <string>
#include <vector>

#include "file_support.h"

namespace rimwright {
namespace {

using testing::bytes_of_value;

constexpr std::size_t count = 10'000;

// Point i lies at x = i / 10, with its number as colour.
std::string numbered_ply() {
  std::string bytes =
      "ply\nformat binary_little_endian 1.0\nelement vertex " + std::to_string(count) +
      "\nproperty float x\nproperty float y\nproperty float z\nproperty uchar red\nproperty uchar green\n"
      "property uchar blue\nend_header\n";
  for (std::size_t i = 0; i < count; ++i) {
    bytes += bytes_of_value(static_cast<float>(i) / 10.0F) + bytes_of_value(0.0F) + bytes_of_value(1.0F);
    bytes += {static_cast<char>(i & 0xffU), static_cast<char>(i >> 8U), '\0'};
  }
  return bytes;
}

std::string numbered_xyz() {
  std::string text;
  for (std::size_t i = 0; i < count; ++i) {
    text += std::to_string(static_cast<double>(i) / 10.0) + " 0 1 " + std::to_string(i & 0xffU) + ' ' +
            std::to_string(i >> 8U) + " 0\n";
  }
  return text;
}

TEST(ReadThinned, KeepsAllOfThePlacesThatMatterAndEveryNthElsewhere) {
  ReadThinnedSettings settings;
  settings.every = 7;
  settings.block_points = 999;
  // Near x = 300..310: points 3000 to 3100.
  const KeepPoints near_rim = [](const Cloud& block, std::size_t begin, std::size_t end, std::uint8_t* keep) {
    for (std::size_t i = begin; i < end; ++i) {
      const double x = block.point_mm(i).x();
      keep[i - begin] = x > 299.95 && x < 310.05 ? 1 : 0;
    }
  };
  for (const auto& [name, bytes] : {std::pair{"n.ply", numbered_ply()}, std::pair{"n.xyz", numbered_xyz()}}) {
    SCOPED_TRACE(name);
    const testing::TemporaryFile file(name, bytes);
    std::vector<std::size_t> expected;
    for (std::size_t i = 0; i < count; ++i) {
      if (i % 7 == 0 || (i >= 3000 && i <= 3100)) expected.push_back(i);
    }
    for (const std::size_t threads : {1, 2}) {
      Workers workers(threads);
      const auto scan = read_thinned(file.path(), near_rim, settings, workers);
      ASSERT_TRUE(scan) << scan.error().sentence();
      EXPECT_EQ(scan->cloud.counts.points_in_file, count);
      ASSERT_EQ(scan->cloud.size(), expected.size());
      for (std::size_t k = 0; k < expected.size(); ++k) {
        const auto& colour = scan->cloud.colours[k];
        ASSERT_EQ(colour[0] + 256U * colour[1], expected[k]);
        ASSERT_NEAR(scan->cloud.point_mm(k).x(), static_cast<double>(expected[k]) / 10.0, 1e-4);
      }
    }
  }
}

TEST(ReadThinned, WithoutPlacesEveryNthPoint) {
  const testing::TemporaryFile file("n.ply", numbered_ply());
  Workers workers(2);
  ReadThinnedSettings settings;
  settings.every = 100;
  const auto scan = read_thinned(file.path(), {}, settings, workers);
  ASSERT_TRUE(scan);
  EXPECT_EQ(scan->cloud.size(), count / 100);
  settings.most_kept = 50;
  const auto refused = read_thinned(file.path(), {}, settings, workers);
  ASSERT_FALSE(refused);
  EXPECT_EQ(refused.error().reason, RefusalReason::file_over_limit);
}

TEST(PointsIn, StatedOrEstimated) {
  const testing::TemporaryFile ply("n.ply", numbered_ply());
  EXPECT_EQ(points_in(ply.path()), count);
  const testing::TemporaryFile xyz("n.xyz", numbered_xyz());
  const auto estimate = points_in(xyz.path());
  ASSERT_TRUE(estimate);
  EXPECT_NEAR(static_cast<double>(*estimate), static_cast<double>(count), 0.1 * count);
  EXPECT_FALSE(points_in("/no/such/file.ply"));
}

}  // namespace
}  // namespace rimwright
