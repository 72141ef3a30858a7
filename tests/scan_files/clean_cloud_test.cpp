#include "capture/clean_cloud.h"

#include <gtest/gtest.h>

#include <algorithm>
#include <cmath>
#include <limits>
#include <random>
#include <set>
#include <string>
#include <tuple>

namespace rimwright {
namespace {

constexpr unsigned seed = 11;

void add(Cloud& cloud, double x, double y, double z) {
  cloud.x.push_back(static_cast<float>(x));
  cloud.y.push_back(static_cast<float>(y));
  cloud.z.push_back(static_cast<float>(z));
  // A mark that tells the point again afterwards.
  const std::size_t i = cloud.x.size();
  cloud.colours.push_back(
      {static_cast<std::uint8_t>(i), static_cast<std::uint8_t>(i >> 8U), static_cast<std::uint8_t>(i >> 16U)});
}

// A box-like body on a table, with a clamp that stands beside it.
Cloud scene(std::size_t points) {
  std::mt19937 random(seed);
  std::uniform_real_distribution<double> unit(0.0, 1.0);
  Cloud cloud;
  for (std::size_t i = 0; i < points; ++i) {
    const double u = unit(random), v = unit(random), kind = unit(random);
    if (kind < 0.5) {
      add(cloud, 400.0 * u, 300.0 * v, 80.0);
    } else if (kind < 0.75) {
      add(cloud, 400.0 * u, 0.0, 80.0 * v);
    } else if (kind < 0.98) {
      add(cloud, -200.0 + 900.0 * u, -200.0 + 700.0 * v, 0.0);
    } else {
      add(cloud, 450.0 + 20.0 * u, 150.0 + 10.0 * v, 90.0 * unit(random));
    }
  }
  return cloud;
}

Outcome<Cloud> cleaned(Cloud cloud, std::size_t threads = 2) {
  Workers workers(threads);
  return clean_cloud(std::move(cloud), {}, workers);
}

TEST(CleanCloud, ASoundSceneStaysAsItIs) {
  const Cloud before = scene(50'000);
  const auto after = cleaned(before);
  ASSERT_TRUE(after) << after.error().sentence();
  EXPECT_EQ(after->x, before.x);
  EXPECT_EQ(after->colours, before.colours);
  EXPECT_EQ(after->counts.far_outliers + after->counts.duplicates + after->counts.not_finite, 0U);
}

TEST(CleanCloud, DropsAndCountsWhatIsNoPoint) {
  Cloud cloud = scene(50'000);
  const std::size_t sound = cloud.size();
  const float nan = std::numeric_limits<float>::quiet_NaN(), infinity = std::numeric_limits<float>::infinity();
  add(cloud, nan, 0, 0);
  add(cloud, 0, infinity, 0);
  add(cloud, 0, infinity, -infinity);
  add(cloud, 0, 0, nan);
  add(cloud, 200, 150, 400);   // alone in the air above the body
  add(cloud, 1e6, 1e6, -1e6);  // far beyond
  add(cloud, -1e30, 1e30, 1e30);
  for (std::size_t i = 0; i < 1000; ++i) {
    cloud.x.push_back(cloud.x[7 * i]);
    cloud.y.push_back(cloud.y[7 * i]);
    cloud.z.push_back(cloud.z[7 * i]);
    cloud.colours.push_back({0, 0, 0});
  }
  const PlainArray<float> x_before(cloud.x.begin(), cloud.x.begin() + static_cast<std::ptrdiff_t>(sound));
  const auto after = cleaned(std::move(cloud));
  ASSERT_TRUE(after) << after.error().sentence();
  EXPECT_EQ(after->counts.not_finite, 4U);
  EXPECT_EQ(after->counts.far_outliers, 3U);
  EXPECT_EQ(after->counts.duplicates, 1000U);
  EXPECT_EQ(after->x, x_before);  // in order, the first of each kept
  ASSERT_EQ(after->colours.size(), sound);
  EXPECT_EQ(after->colours.back()[0], static_cast<std::uint8_t>(sound));
}

// Of a large cloud a sixteenth of the places is looked at first. That none of 1000 duplicates lies there has a chance
// of (15 / 16)^1000 = 1e-28.
TEST(CleanCloud, DropsTheDuplicatesOfALargeCloud) {
  SCOPED_TRACE("seed " + std::to_string(seed));
  Cloud cloud = scene(2'100'000);
  const std::size_t sound = cloud.size();
  ASSERT_GT(sound, 2'000'000U);
  for (std::size_t i = 0; i < 1000; ++i) add(cloud, cloud.x[2000 * i], cloud.y[2000 * i], cloud.z[2000 * i]);
  const auto after = cleaned(std::move(cloud));
  ASSERT_TRUE(after) << after.error().sentence();
  EXPECT_EQ(after->size(), sound);
  EXPECT_EQ(after->counts.duplicates, 1000U);
}

TEST(CleanCloud, DuplicatesAgainstAPlainSet) {
  std::mt19937 random(seed);
  SCOPED_TRACE("seed " + std::to_string(seed));
  std::uniform_int_distribution<int> grid(0, 60);
  Cloud cloud;
  std::set<std::tuple<float, float, float>> places;
  PlainArray<float> x_of_first;
  for (int i = 0; i < 300'000; ++i) {
    add(cloud, grid(random), grid(random), grid(random) - 30);
    if (cloud.z.back() == 0.0F && i % 2 == 0) cloud.z.back() = -0.0F;  // the same place as 0
    if (places.insert({cloud.x.back(), cloud.y.back(), cloud.z.back()}).second) x_of_first.push_back(cloud.x.back());
  }
  const std::size_t met = cloud.size();
  const auto one = cleaned(cloud, 1);
  const auto two = cleaned(std::move(cloud), 2);
  ASSERT_TRUE(one && two);
  EXPECT_EQ(one->counts.duplicates, met - places.size());
  EXPECT_EQ(one->x, x_of_first);
  EXPECT_EQ(one->x, two->x);
  EXPECT_EQ(one->colours, two->colours);
}

std::string reason_of(Cloud cloud) {
  const auto outcome = cleaned(std::move(cloud));
  return outcome ? "accepted" : std::string(name_of(outcome.error().reason));
}

TEST(CleanCloud, RefusesWhatShowsNothing) {
  EXPECT_EQ(reason_of(Cloud{}), "too few points");
  Cloud one;
  add(one, 1, 2, 3);
  EXPECT_EQ(reason_of(one), "too few points");
  Cloud coincident, line, invalid;
  for (int i = 0; i < 5000; ++i) {
    add(coincident, 4, 5, 6);
    add(line, 0.1 * i, 0.2 * i, -0.05 * i);
    add(invalid, std::nanf(""), 0, 0);
  }
  EXPECT_EQ(reason_of(coincident), "shape degenerate");
  EXPECT_EQ(reason_of(line), "shape degenerate");
  EXPECT_EQ(reason_of(invalid), "too few points");
}

TEST(CleanCloud, ASecondBodyIsNoStray) {
  Cloud cloud = scene(50'000);
  std::mt19937 random(seed);
  std::uniform_real_distribution<double> unit(0.0, 1.0);
  for (int i = 0; i < 2000; ++i) add(cloud, 3000.0 + 50.0 * unit(random), 50.0 * unit(random), 0.0);
  const std::size_t points = cloud.size();
  const auto after = cleaned(std::move(cloud));
  ASSERT_TRUE(after);
  EXPECT_EQ(after->size(), points);
}

// Some points have normals. When others are dropped, each keeps its own.
TEST(CleanCloud, NormalsStayWithTheirPoints) {
  Cloud cloud = scene(10'000);
  for (std::uint32_t i = 0; i < cloud.size(); i += 3)
    cloud.normals.push_back({i, {static_cast<std::int8_t>(i % 100), 1, 0}});
  const Cloud before = cloud;
  // Points with a normal and without, next to each other, the first and the last.
  const std::vector<std::size_t> gone{0, 3, 5, 6, 7, 5000, cloud.size() - 1};
  for (const std::size_t i : gone) cloud.x[i] = std::numeric_limits<float>::quiet_NaN();
  const auto after_cleaning = cleaned(cloud);
  ASSERT_TRUE(after_cleaning);
  ASSERT_EQ(after_cleaning->size(), before.size() - gone.size());
  std::size_t kept = 0;
  for (const PointNormal& normal : before.normals) {
    if (std::find(gone.begin(), gone.end(), normal.point) != gone.end()) continue;
    ASSERT_LT(kept, after_cleaning->normals.size());
    const PointNormal& after = after_cleaning->normals[kept++];
    EXPECT_EQ(after.times_127, normal.times_127);
    EXPECT_EQ(after_cleaning->colours[after.point], before.colours[normal.point]);
  }
  EXPECT_EQ(kept, after_cleaning->normals.size());
}

}  // namespace
}  // namespace rimwright
