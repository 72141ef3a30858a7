#include "judge/sanding_block.h"

#include <gtest/gtest.h>

#include <cmath>
#include <random>

namespace rimwright {
namespace {

constexpr double pi = 3.14159265358979323846;

std::vector<double> sine(double amplitude, double wavelength_mm, std::size_t count) {
  std::vector<double> line(count);
  for (std::size_t i = 0; i < count; ++i)
    line[i] = amplitude * std::sin(2 * pi * static_cast<double>(i) / wavelength_mm);
  return line;
}

// Brute force from the definition: lowest, over all places of the segment that cover i, of the highest under it.
std::vector<double> closing_by_definition(const std::vector<double>& line, std::size_t half) {
  std::vector<double> closed = line;
  const auto n = static_cast<std::ptrdiff_t>(line.size()), h = static_cast<std::ptrdiff_t>(half);
  for (std::ptrdiff_t i = 0; i < n; ++i) {
    double best = std::numeric_limits<double>::infinity();
    for (std::ptrdiff_t centre = std::max<std::ptrdiff_t>(0, i - h); centre <= std::min(n - 1, i + h); ++centre) {
      double highest = -std::numeric_limits<double>::infinity();
      for (std::ptrdiff_t j = std::max<std::ptrdiff_t>(0, centre - h); j <= std::min(n - 1, centre + h); ++j) {
        highest = std::max(highest, line[j]);
      }
      best = std::min(best, highest);
    }
    closed[i] = best;
  }
  return closed;
}

// Closed form (ISO 16610-41 by a flat segment): for a wavelength shorter than the segment the closing is constant at
// the crests, a (1 - sin) above the line.
TEST(Closing, OfASineShorterThanTheSegmentIsFlatAtTheCrests) {
  const std::vector<double> line = sine(0.22, 40.0, 400);
  const std::vector<double> closed = closing(line, 50);
  for (std::size_t i = 100; i < 300; ++i) EXPECT_NEAR(closed[i], 0.22, 1e-12);
}

TEST(Closing, AgreesWithItsDefinition) {
  constexpr unsigned seed = 91;
  std::mt19937_64 random(seed);
  std::normal_distribution<double> normal;
  std::vector<double> line(150);
  for (double& v : line) v = normal(random);
  for (const std::size_t half : {1U, 4U, 30U}) {
    const std::vector<double> closed = closing(line, half), expected = closing_by_definition(line, half);
    for (std::size_t i = 0; i < line.size(); ++i) EXPECT_EQ(closed[i], expected[i]) << "half " << half << " at " << i;
  }
}

TEST(Closing, IsExtensiveAndIdempotent) {
  std::mt19937_64 random(92);
  std::normal_distribution<double> normal;
  std::vector<double> line(200);
  for (double& v : line) v = normal(random);
  line[70] = std::numeric_limits<double>::quiet_NaN();
  const std::vector<double> once = closing(line, 10), twice = closing(once, 10);
  for (std::size_t i = 0; i < line.size(); ++i) {
    if (std::isnan(line[i])) continue;
    EXPECT_GE(once[i], line[i]);
    EXPECT_EQ(once[i], twice[i]);
  }
}

TEST(SandedDown, LeavesNothingTheBlockCannotTouch) {
  std::mt19937_64 random(93);
  std::normal_distribution<double> normal;
  std::vector<double> line(300);
  for (double& v : line) v = normal(random);
  const std::vector<double> down = sanded_down(line, 12, 0.0);
  const std::vector<double> closed = closing(down, 12);
  for (std::size_t i = 0; i < line.size(); ++i) {
    EXPECT_LE(down[i], line[i]) << "wood is only taken off";
    EXPECT_NEAR(closed[i], down[i], 1e-12) << "at " << i;
  }
}

TEST(SandedDown, AWideHollowIsLeftAlone) {
  std::vector<double> line(300, 0.0);
  for (std::size_t i = 100; i < 200; ++i) line[i] = -0.4;  // wider than the block: it goes in
  EXPECT_EQ(sanded_down(line, 20, 0.0), line);
  for (std::size_t i = 100; i < 200; ++i) line[i] = 0.0;
  for (std::size_t i = 145; i < 150; ++i) line[i] = -0.4;  // narrower: its surroundings come down to the block's length
  const std::vector<double> down = sanded_down(line, 20, 0.0);
  EXPECT_EQ(down[130], -0.4);
  EXPECT_EQ(down[100], 0.0);
}

Plan plan_with_limits() {
  Plan plan;
  plan.bevel = PlannedBevel{};
  plan.bevel->angle_deg = {124.0, {-1.0, 1.0}};
  plan.bevel->drop_mm = {16.0, {-1.0, 1.0}};
  plan.bevel->straightness_mm = 0.20;
  plan.bevel->waviness = BandLimit{{10.0, 80.0}, 0.15};
  plan.block = PlannedBlock{42.0, 24.0, 3.0};
  return plan;
}

Measures face_of(double (*deviation)(double station_mm, double across_mm)) {
  Measures measures;
  UnrolledMap& map = measures.map;
  map.columns = 300;
  map.rows = 40;
  for (std::size_t row = 0; row < map.rows; ++row) {
    for (std::size_t column = 0; column < map.columns; ++column) {
      map.deviation_mm.push_back(
          static_cast<float>(deviation(static_cast<double>(column), 0.5 * static_cast<double>(row))));
    }
  }
  for (int s = 0; s < 300; ++s) {
    BlockStation block;
    block.station_mm = s;
    block.top_left_mm.value = 18.0;
    block.side_left_mm.value = 8.0;
    measures.block.push_back(block);
  }
  return measures;
}

TEST(SandingBlock, AFlatFaceNeedsNothing) {
  const SandingBlock sanded = sand_with_block(plan_with_limits(), face_of([](double, double) { return 0.1; }));
  EXPECT_EQ(sanded.marked_share, 0.0);
  EXPECT_EQ(sanded.most_to_take_off_mm, 0.0);
  EXPECT_EQ(sanded.most_fair_mm, 0.0);
  EXPECT_NEAR(sanded.room_left_mm, 5.0, 1e-9);
}

TEST(SandingBlock, WavesComeDownToTheirTroughs) {
  SandingSettings settings;
  settings.smooth_mm = 0.0;
  settings.pencil_mm = 0.0;
  const SandingBlock sanded = sand_with_block(
      plan_with_limits(), face_of([](double s, double) { return 0.22 * std::sin(2 * pi * s / 34.0); }), settings);
  EXPECT_NEAR(sanded.most_to_take_off_mm, 0.44, 0.44 * (1 - std::cos(pi / 34.0)) + 1e-6) << "crest to trough";
  // Least removal: the crest may stand the waviness limit above the trough.
  EXPECT_NEAR(sanded.most_fair_mm, 0.44 - 0.15, 0.44 * (1 - std::cos(pi / 34.0)) + 1e-6);
}

TEST(SandingBlock, SaysWhenTheBlockGlueInsideWouldBeEaten) {
  Measures measures =
      face_of([](double s, double across) { return s > 140 && s < 160 && across > 8 && across < 12 ? 0.9 : 0.0; });
  for (BlockStation& block : measures.block) block.side_left_mm.value = 3.2;
  SandingSettings settings;
  settings.smooth_mm = 0.0;
  const SandingBlock sanded = sand_with_block(plan_with_limits(), measures, settings);
  // 0.7 to take off square to the face moves the lower edge by 0.7 / sin 56 deg = 0.844; only 0.2 was to spare.
  EXPECT_NEAR(sanded.room_left_mm, 0.2 - 0.7 / std::sin(56.0 * pi / 180.0), 1e-6);
  ASSERT_EQ(sanded.sentences.size(), 3U);
  EXPECT_NE(sanded.sentences[2].find("build up inside first"), std::string::npos);
}

// The upper edge moves in by more than what is taken off, 1 / cos 56 deg times.
TEST(SandingBlock, TheBlockUnderTheTopCountsAsWell) {
  Measures measures =
      face_of([](double s, double across) { return s > 140 && s < 160 && across > 8 && across < 12 ? 0.9 : 0.0; });
  for (BlockStation& block : measures.block) block.top_left_mm.value = 3.2;
  SandingSettings settings;
  settings.smooth_mm = 0.0;
  const SandingBlock sanded = sand_with_block(plan_with_limits(), measures, settings);
  EXPECT_NEAR(sanded.room_left_mm, 0.2 - 0.7 / std::cos(56.0 * pi / 180.0), 1e-6);
}

// Waves are held against what lies within half the longest wavelength, 40 mm: a step 0.5 mm high from 100 mm on.
TEST(SandingBlock, AStepComesDownWithinHalfTheLongestWave) {
  SandingSettings settings;
  settings.smooth_mm = 0.0;
  const SandingBlock sanded =
      sand_with_block(plan_with_limits(), face_of([](double s, double) { return s < 100 ? 0.0 : 0.5; }), settings);
  ASSERT_EQ(sanded.stations.size(), 300U);
  EXPECT_EQ(sanded.stations[99].to_take_off_fair_mm, 0.0);
  EXPECT_NEAR(sanded.stations[139].to_take_off_fair_mm, 0.5 - 0.15, 1e-6);
  EXPECT_EQ(sanded.stations[140].to_take_off_fair_mm, 0.0);
}

// Nine tenths of the face stand 0.9 mm up over 20 mm of rim. Across, 0.2 may stay of it, 0.7 comes off; the mean is
// then 0.18, of which 0.15 may stay.
TEST(SandingBlock, StraightnessComesOffBeforeWavesAreCounted) {
  SandingSettings settings;
  settings.smooth_mm = 0.0;
  const SandingBlock sanded = sand_with_block(
      plan_with_limits(),
      face_of([](double s, double across) { return s > 140 && s < 160 && across >= 2 ? 0.9 : 0.0; }), settings);
  EXPECT_NEAR(sanded.most_fair_mm, 0.7 + 0.03, 1e-6);
}

TEST(SandingBlock, NothingMeasuredGivesNothing) {
  EXPECT_TRUE(sand_with_block(plan_with_limits(), Measures{}).stations.empty());
}

}  // namespace
}  // namespace rimwright
