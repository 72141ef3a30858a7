// Cells against brute force: their means, counts and planes.
#include "rim/gather_cells.h"

#include <gtest/gtest.h>

#include <array>
#include <cmath>
#include <map>
#include <random>

#include "scanned_body.h"

namespace rimwright {
namespace {

Cloud noisy_plane(double noise_mm, double density_per_mm2, unsigned seed) {
  std::mt19937 random(seed);
  std::uniform_real_distribution<float> place(0.0F, 60.0F);
  std::normal_distribution<float> noise(0.0F, static_cast<float>(noise_mm));
  Cloud cloud;
  const auto count = static_cast<std::size_t>(3600.0 * density_per_mm2);
  for (std::size_t i = 0; i < count; ++i) {
    cloud.x.push_back(place(random));
    cloud.y.push_back(place(random));
    cloud.z.push_back(0.2F * cloud.x.back() + noise(random));
  }
  return cloud;
}

TEST(GatherCells, EveryPointIsInOneCellAndMeansAreThoseOfTheirPoints) {
  const Cloud cloud = noisy_plane(0.02, 2.0, 3);
  Workers workers;
  const auto cells = gather_cells(cloud, {}, workers);
  ASSERT_TRUE(cells.has_value());
  std::size_t count = 0;
  Vector3 sum = Vector3::Zero();
  for (const auto& cell : cells->cells) {
    count += cell.count;
    sum += cell.count * cell.mean_mm.cast<double>();
  }
  EXPECT_EQ(count, cloud.size());
  Vector3 all = Vector3::Zero();
  for (std::size_t i = 0; i < cloud.size(); ++i) all += cloud.point_mm(i);
  EXPECT_LT((sum - all).norm() / static_cast<double>(count), 1e-4);
}

TEST(GatherCells, PlaneAndSpreadAreThoseOfTheSurface) {
  const Vector3 normal = Vector3(-0.2, 0.0, 1.0).normalized();
  for (const double noise : {0.01, 0.05, 0.2}) {
    Workers workers;
    const Cloud cloud = noisy_plane(noise, 6.0, 7);
    const auto cells = gather_cells(cloud, {}, workers);
    ASSERT_TRUE(cells.has_value());
    std::vector<double> tilts, spreads;
    for (const auto& cell : cells->cells) {
      if (cell.normal.squaredNorm() < 0.5F) continue;
      tilts.push_back(std::acos(std::min(1.0, std::abs(cell.normal.cast<double>().dot(normal)))));
      spreads.push_back(cell.spread_mm);
    }
    ASSERT_GT(tilts.size(), 50u);
    std::sort(tilts.begin(), tilts.end());
    std::sort(spreads.begin(), spreads.end());
    // Three cells of 3 mm, 6 points a square millimetre: n = 486; tilt s sqrt(12 / n) / w about each of two axes, the
    // median of whose length is 1.18 of that (Rayleigh); borders see less, hence twice.
    const double expected = noise / std::sqrt(1.04) * std::sqrt(12.0 / 486.0) / 9.0 * 1.18;
    EXPECT_LT(tilts[tilts.size() / 2], 2.0 * expected) << noise;
    // The noise is along z: square to the plane it is noise / sqrt(1 + 0.2^2); sampling error 1 / sqrt(2 n) = 3 %.
    EXPECT_NEAR(spreads[spreads.size() / 2], noise / std::sqrt(1.04), 0.05 * noise) << noise;
  }
}

TEST(GatherCells, CellsGrowWithTheNoise) {
  Workers workers;
  const auto fine = gather_cells(noisy_plane(0.05, 6.0, 1), {}, workers);
  const auto coarse = gather_cells(noisy_plane(1.5, 6.0, 1), {}, workers);
  ASSERT_TRUE(fine && coarse);
  EXPECT_EQ(fine->cell_mm, GatherSettings{}.smallest_cell_mm);
  EXPECT_GT(coarse->cell_mm, fine->cell_mm);
  EXPECT_LE(coarse->cell_mm, GatherSettings{}.largest_cell_mm);
}

TEST(GatherCells, RefusesPointsTooFarApart) {
  Cloud cloud;
  for (int i = 0; i < 20; ++i) {
    cloud.x.push_back(static_cast<float>(100 * (i % 5)));
    cloud.y.push_back(static_cast<float>(100 * (i / 5)));
    cloud.z.push_back(0.0F);
  }
  Workers workers;
  const auto cells = gather_cells(cloud, {}, workers);
  ASSERT_FALSE(cells.has_value());
  EXPECT_EQ(cells.error().reason, RefusalReason::too_few_points);
}

TEST(GatherCells, SameForOneAndTwoThreads) {
  const auto made = test::scanned(test::bevelled_body(), test::plain_scanner(), 4);
  Workers one(1), two(2);
  const auto a = gather_cells(made.scan.cloud, {}, one), b = gather_cells(made.scan.cloud, {}, two);
  ASSERT_TRUE(a && b);
  ASSERT_EQ(a->keys, b->keys);
  for (std::size_t i = 0; i < a->cells.size(); ++i) {
    EXPECT_EQ(a->cells[i].mean_mm, b->cells[i].mean_mm);
    EXPECT_EQ(a->cells[i].normal, b->cells[i].normal);
  }
}

// Normals of a few points only: a cell that holds one faces as it says, the others face nowhere.
TEST(GatherCells, FacingIsTheMeanOfTheNormalsInTheCell) {
  Cloud cloud = noisy_plane(0.02, 2.0, 5);
  for (std::uint32_t i = 0; i < cloud.size(); i += 7)
    cloud.normals.push_back({i, {static_cast<std::int8_t>(i % 60), 0, 100}});
  Workers workers;
  const auto cells = gather_cells(cloud, {}, workers);
  ASSERT_TRUE(cells.has_value());
  // Brute force: to which cell a point belongs follows from its place alone.
  using Key = std::array<int, 3>;
  const auto key_of = [&](const Vector3& p) {
    return Key{static_cast<int>(std::floor(p.x() / cells->cell_mm)),
               static_cast<int>(std::floor(p.y() / cells->cell_mm)),
               static_cast<int>(std::floor(p.z() / cells->cell_mm))};
  };
  std::map<Key, std::pair<Vector3, double>> sums;
  for (const auto& [point, times_127] : cloud.normals) {
    auto& [sum, count] = sums.try_emplace(key_of(cloud.point_mm(point)), Vector3::Zero(), 0.0).first->second;
    sum += Vector3(times_127[0], times_127[1], times_127[2]) / 127.0;
    count += 1.0;
  }
  std::size_t facing = 0;
  for (const auto& cell : cells->cells) {
    const auto known = sums.find(key_of(cell.mean_mm.cast<double>()));
    const Vector3 truth = known == sums.end() ? Vector3::Zero() : Vector3(known->second.first / known->second.second);
    EXPECT_LT((cell.facing.cast<double>() - truth).norm(), 1e-5);
    facing += known == sums.end() ? 0 : 1;
  }
  EXPECT_EQ(facing, sums.size());
}

}  // namespace
}  // namespace rimwright
