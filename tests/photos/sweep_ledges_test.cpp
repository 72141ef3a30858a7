// Which swept patches their neighbours bear out: on the wall of a ledge that a run-out bends.
#include "capture/photos/sweep_ledges.h"

#include <gtest/gtest.h>

#include <cmath>
#include <cstdio>
#include <random>

namespace rimwright {
namespace {

constexpr double radius_mm = 20.0, noise_mm = 0.015;

// Columns a millimetre apart along the bend, rows as far apart as the sweep's; each patch lies off by noise along its
// normal and is turned by as much as noise turns it over its length.
std::vector<Patch> wall(unsigned seed, double bend_told_per_mm) {
  std::mt19937 dice(seed);
  std::normal_distribution<double> noise(0.0, noise_mm);
  std::vector<Patch> patches;
  for (double s = -10.0; s <= 10.0; s += 1.0) {
    for (double row = 0.0; row < 1.6; row += SweepLedgesSettings{}.column_step_mm) {
      const double angle = s / radius_mm + noise(dice) / 2.2;
      Patch patch;
      patch.normal_sheet = Vector3(std::sin(angle), std::cos(angle), 0.0);
      patch.along_sheet = Vector3(std::cos(angle), -std::sin(angle), 0.0);
      patch.bend_per_mm = bend_told_per_mm;
      patch.at_sheet_mm = radius_mm * Vector3(std::sin(s / radius_mm), std::cos(s / radius_mm), 0.0) +
                          Vector3(0, 0, row) + noise(dice) * patch.normal_sheet;
      patches.push_back(patch);
    }
  }
  return patches;
}

TEST(KeepWithNeighbours, ABentWallIsItsOwnWitness) {
  constexpr unsigned seed = 5;
  const auto patches = wall(seed, 1.0 / radius_mm);
  const auto kept = keep_with_neighbours(patches, {});
  const auto flat = keep_with_neighbours(wall(seed, 0.0), {});
  std::printf("of %zu patches %zu are kept, %zu when taken for flat; seed %u\n", patches.size(), kept.size(),
              flat.size(), seed);
  // The rows at either end have neighbours on one side only: five of seven stay.
  EXPECT_GT(kept.size(), patches.size() * 3 / 5);
  EXPECT_GT(kept.size(), flat.size());
}

TEST(KeepWithNeighbours, WhatLiesOffTheWallGoes) {
  constexpr unsigned seed = 6;
  std::mt19937 dice(seed);
  std::uniform_real_distribution<double> anywhere(0.3, 6.0);
  auto patches = wall(seed, 1.0 / radius_mm);
  for (std::size_t i = 0; i < patches.size(); i += 4)
    patches[i].at_sheet_mm -= anywhere(dice) * patches[i].normal_sheet;
  for (const Patch& patch : keep_with_neighbours(patches, {}))
    EXPECT_NEAR(patch.at_sheet_mm.head<2>().norm(), radius_mm, 5.0 * noise_mm) << "seed " << seed;
}

}  // namespace
}  // namespace rimwright
