#include "capture/depth/depth_noise.h"

#include <gtest/gtest.h>

#include <cmath>

#include "simulate/random.h"

namespace rimwright {
namespace {

constexpr std::uint64_t seed = 7;

const PinholeIntrinsics camera{320, 240, 300.0, 300.0, 159.5, 119.5};

// A plane through (0, 0, z_mm), turned about the vertical axis; noise along z of the given size at every pixel.
DepthFrame plane_frame(double z_mm, double turn_deg, double sigma_mm, double mm_per_count, Random& random) {
  DepthFrame frame;
  const double slope = std::tan(radians_from_degrees(turn_deg));
  for (int row = 0; row < camera.height_px; ++row) {
    for (int column = 0; column < camera.width_px; ++column) {
      const double z = z_mm / (1.0 - slope * camera.ray(column, row).x()) + sigma_mm * random.normal();
      const double count = std::round(z / mm_per_count);
      frame.counts.push_back(count > 0.0 && count < 65535.0 ? static_cast<std::uint16_t>(count) : 0);
    }
  }
  return frame;
}

TEST(DepthPatches, APlaneGivesItsPointNormalAndIncidence) {
  Random random(seed);
  const double turn_deg = 35.0, mm_per_count = 0.01;
  PatchSettings settings;
  settings.half_window_px = 3;
  settings.stride_px = 8;
  const auto patches =
      patches_of(plane_frame(300.0, turn_deg, 0.0, mm_per_count, random), camera, mm_per_count, settings);
  ASSERT_GT(patches.size(), 800u);
  const double turn = radians_from_degrees(turn_deg);
  const Vector3 normal(std::sin(turn), 0.0, -std::cos(turn));
  for (const DepthPatch& patch : patches) {
    // Rounding is uniform over a count, 49 pixels a fit; the tilt of a 6 mm window by it stays below 1e-3.
    EXPECT_NEAR(patch.point_mm.z(), 300.0 + std::tan(turn) * patch.point_mm.x(), 5.0 * mm_per_count / std::sqrt(12.0));
    EXPECT_LT((patch.normal - normal).norm(), 5e-3);
    EXPECT_NEAR(patch.incidence_rad, std::acos(-normal.dot(patch.point_mm.normalized())), 5e-3);
  }
}

TEST(DepthPatches, UnseenAndSteepWindowsAreLeftOut) {
  Random random(seed);
  PatchSettings settings;
  settings.half_window_px = 3;
  settings.stride_px = 8;
  auto frame = plane_frame(300.0, 0.0, 0.0, 0.1, random);
  const auto all = patches_of(frame, camera, 0.1, settings).size();
  std::fill(frame.counts.begin(), frame.counts.begin() + 120 * 320, std::uint16_t{0});
  const auto half = patches_of(frame, camera, 0.1, settings).size();
  EXPECT_NEAR(static_cast<double>(half), 0.5 * static_cast<double>(all), 0.05 * static_cast<double>(all));
  EXPECT_TRUE(patches_of(plane_frame(300.0, 84.0, 0.0, 0.1, random), camera, 0.1,
                         [&] {
                           auto strict = settings;
                           strict.steepest_deg = 60.0;
                           return strict;
                         }())
                  .size() < all / 10);
}

// A camera whose noise is 0.5 mm at 300 mm, grows with the square of the range, and is twice as large on faces turned
// by 55 degrees.
TEST(DepthNoise, RangeAndIncidenceAreRecovered) {
  Random random(seed);
  const double mm_per_count = 0.05;
  PatchSettings settings;
  settings.half_window_px = 3;
  settings.stride_px = 7;  // windows that share no pixel
  std::vector<std::vector<DepthPatch>> patches;
  for (const double z_mm : {250.0, 300.0, 350.0, 420.0, 500.0}) {
    const double sigma = 0.5 * (z_mm / 300.0) * (z_mm / 300.0);
    patches.push_back(patches_of(plane_frame(z_mm, 0.0, sigma, mm_per_count, random), camera, mm_per_count, settings));
  }
  // Only a narrow strip of the turned plane keeps one range.
  for (int i = 0; i < 6; ++i) {
    auto turned = patches_of(plane_frame(300.0, 55.0, 1.0, mm_per_count, random), camera, mm_per_count, settings);
    std::erase_if(turned, [](const DepthPatch& patch) { return std::abs(patch.point_mm.z() - 300.0) > 15.0; });
    patches.push_back(turned);
  }
  const auto noise = estimate_noise(patches);
  ASSERT_TRUE(noise) << noise.error().sentence();
  EXPECT_TRUE(noise->range_power_fitted);
  // 2 % of a median over 300 windows of 46 degrees of freedom, spread over a range ratio of 2: 0.03 each way.
  EXPECT_NEAR(noise->range_power, 2.0, 0.1);
  EXPECT_NEAR(noise->sigma_z_mm(300.0, 0.1), 0.5, 0.02);
  EXPECT_NEAR(noise->sigma_z_mm(500.0, 0.1), 0.5 * 25.0 / 9.0, 0.05);
  EXPECT_NEAR(noise->sigma_z_mm(300.0, radians_from_degrees(55.0)), 1.0, 0.06);
}

TEST(DepthNoise, EdgesAreDroppedFacesAreKept) {
  Random random(seed);
  const double mm_per_count = 0.02, sigma = 0.08;
  auto frame = plane_frame(300.0, 0.0, sigma, mm_per_count, random);
  // A step of 2 mm at column 160.
  for (std::size_t row = 0; row < 240; ++row) {
    for (std::size_t column = 160; column < 320; ++column) {
      frame.counts[row * 320 + column] = static_cast<std::uint16_t>(frame.counts[row * 320 + column] + 100);
    }
  }
  PatchSettings settings;
  settings.half_window_px = 3;
  settings.stride_px = 7;
  std::vector<std::vector<DepthPatch>> patches{patches_of(frame, camera, mm_per_count, settings)};
  const auto noise = estimate_noise(patches);
  ASSERT_TRUE(noise);
  const std::size_t before = patches[0].size();
  drop_edge_patches(patches, *noise);
  std::size_t across = 0;
  for (const DepthPatch& patch : patches[0]) {
    const double column = patch.point_mm.x() / patch.point_mm.z() * 300.0 + 159.5;
    if (std::abs(column - 159.5) < 2.6) ++across;  // the step lies well inside such a window
  }
  EXPECT_EQ(across, 0u);
  EXPECT_GT(patches[0].size(), before * 95 / 100);  // one column of windows in 45 straddles the step
}

TEST(DepthNoise, RefusesWithoutSmoothPlaces) {
  const std::vector<std::vector<DepthPatch>> nothing(3);
  const auto noise = estimate_noise(nothing);
  ASSERT_FALSE(noise);
  EXPECT_EQ(noise.error().reason, RefusalReason::capture_insufficient);
}

}  // namespace
}  // namespace rimwright
