// A painted box on a boldly painted table, seen by cameras all round: hit by rays in closed form.
#include "capture/photos/seed_over_table.h"

#include <gtest/gtest.h>

#include <array>
#include <cmath>
#include <cstdio>
#include <opencv2/core.hpp>
#include <random>

namespace rimwright {
namespace {

constexpr double box_high_mm = 60.0, half_x_mm = 70.0, half_y_mm = 45.0;
constexpr double x0_mm = 60.0, y0_mm = 90.0;  // of the box's middle: the printed board lies at y below 0

// A sum of waves of 4 to 14 mm, so that its value is exact anywhere.
double painted(double u_mm, double v_mm, unsigned coat) {
  static const auto waves = [] {
    std::mt19937 dice(3);
    std::uniform_real_distribution<double> angle(0.0, 2.0 * M_PI), length(4.0, 14.0);
    std::vector<std::array<double, 3>> made;
    for (int i = 0; i < 30; ++i) {
      const double a = angle(dice), k = 2.0 * M_PI / length(dice);
      made.push_back({k * std::cos(a), k * std::sin(a), angle(dice)});
    }
    return made;
  }();
  double sum = 0.0;
  for (const auto& [kx, ky, phase] : waves) sum += std::sin(kx * u_mm + ky * v_mm + phase + coat * kx * 777.0);
  return sum;
}

// Grey level where a ray ends: the box's top and two kinds of walls are faint, the table is bold.
double seen_along(const Vector3& from, const Vector3& ray, bool with_box) {
  if (with_box) {
    const Vector3 low(x0_mm - half_x_mm, y0_mm - half_y_mm, 0.0),
        high(x0_mm + half_x_mm, y0_mm + half_y_mm, box_high_mm);
    double enter = 0.0, leave = 1e9;
    int face = -1;
    for (int k = 0; k < 3; ++k) {
      const double a = (low[k] - from[k]) / ray[k], b = (high[k] - from[k]) / ray[k];
      if (std::min(a, b) > enter) enter = std::min(a, b), face = k;
      leave = std::min(leave, std::max(a, b));
    }
    if (face >= 0 && enter < leave) {
      const Vector3 p = from + enter * ray;
      return 110.0 + 4.0 * painted(p[(face + 1) % 3], p[(face + 2) % 3], 1 + static_cast<unsigned>(face));
    }
  }
  const Vector3 p = from - from.z() / ray.z() * ray;
  return 120.0 + 16.0 * painted(p.x(), p.y(), 0);
}

PhotoStack look(bool with_box, unsigned seed) {
  PhotoStack stack;
  PhotoSet set;
  std::mt19937 dice(seed);
  std::normal_distribution<double> grain(0.0, 1.5);
  for (int i = 0; i < 8; ++i) {
    const double turn = 2.0 * M_PI * i / 8.0, lift = i % 2 == 0 ? 0.7 : 1.1;
    const Vector3 away(std::cos(turn) * std::cos(lift), std::sin(turn) * std::cos(lift), std::sin(lift));
    View view;
    const Vector3 right = (-away).cross(Vector3::UnitZ()).normalized();
    view.T_camera_sheet.linear() << right.transpose(), (-away).cross(right).transpose(), (-away).transpose();
    view.T_camera_sheet.translation() =
        -view.T_camera_sheet.linear() * (Vector3(x0_mm, y0_mm, 0.5 * box_high_mm) + 450.0 * away);
    view.lens = {600.0, 239.5, 179.5, 0.05, 0, 0, 0};
    view.width = 480, view.height = 360;
    Photo photo;
    photo.width = view.width, photo.height = view.height;
    for (int row = 0; row < view.height; ++row) {
      for (int column = 0; column < view.width; ++column) {
        const Vector3 ray = view.T_camera_sheet.linear().transpose() * ray_through(view.lens, Vector2(column, row));
        photo.grey.push_back(
            cv::saturate_cast<std::uint8_t>(seen_along(view.centre_sheet_mm(), ray, with_box) + grain(dice)));
      }
    }
    stack.views.push_back(view);
    set.photos.push_back(std::move(photo));
  }
  Workers workers(2);
  stack.photos = smooth_photos(set, 0.8, workers);
  return stack;
}

Patch level_at(double x_mm, double y_mm, double z_mm) {
  Patch patch;
  patch.at_sheet_mm = Vector3(x_mm, y_mm, z_mm);
  return patch;
}

// What features would leave: the table all round the box, and nothing on it.
std::vector<Patch> table_patches(double clear_of_box_mm) {
  std::vector<Patch> seeds;
  for (double x = x0_mm - 170.0; x <= x0_mm + 170.0; x += 6.0) {
    for (double y = y0_mm - 150.0; y <= y0_mm + 150.0; y += 6.0) {
      if (std::abs(x - x0_mm) < half_x_mm + clear_of_box_mm && std::abs(y - y0_mm) < half_y_mm + clear_of_box_mm)
        continue;
      seeds.push_back(level_at(x, y, 0.02 * std::sin(x) + 0.02 * std::cos(y)));
    }
  }
  return seeds;
}

// A third of the pixels of a phone: patches three times as large hold as many.
SeedOverTableSettings coarse_settings() {
  SeedOverTableSettings settings;
  settings.spacing_mm = 12.0;
  settings.slide.step_mm = 0.6;
  settings.coarse.half_along_mm = settings.coarse.half_across_mm = 9.0;
  settings.refine.half_along_mm = settings.refine.half_across_mm = 7.0;
  return settings;
}

TEST(SeedOverTable, FindsTheTopOverAFiguredTable) {
  const unsigned seed = 8;
  std::printf("seed %u\n", seed);
  const PhotoStack stack = look(true, seed);
  std::vector<Patch> seeds = table_patches(4.0);
  const std::size_t on_table = seeds.size();
  Patch of_side = level_at(x0_mm, y0_mm - half_y_mm, 30.0);  // one that features gave
  of_side.normal_sheet = -Vector3::UnitY();
  seeds.push_back(of_side);
  Workers one(1), two(2);
  const auto [found, table] = seed_over_table(stack, seeds, {}, coarse_settings(), two);
  ASSERT_TRUE(table);
  EXPECT_GT(table->normal.z(), 0.99999);
  EXPECT_LT(found.size(), on_table);  // those on the table are gone
  EXPECT_EQ(found.front().at_sheet_mm, of_side.at_sheet_mm);
  std::size_t on_top = 0;
  for (std::size_t i = 1; i < found.size(); ++i) {
    const Vector3& p = found[i].at_sheet_mm;
    const bool inside = std::abs(p.x() - x0_mm) < half_x_mm && std::abs(p.y() - y0_mm) < half_y_mm;
    // 0.75 mm a pixel, least squares matching is good for a tenth of it; 4 standard deviations.
    EXPECT_NEAR(p.z(), box_high_mm, 4.0 * 0.1 * 0.75) << p.transpose();
    EXPECT_TRUE(inside) << p.transpose();
    if (inside) ++on_top;
  }
  // Columns that stand so far from the edge that the larger patch lies on the top: (140 - 18) by (90 - 18) mm.
  const double whole = (2.0 * half_x_mm - 18.0) * (2.0 * half_y_mm - 18.0) / (12.0 * 12.0);
  std::printf("%zu patches on the top, %.0f columns wholly under it\n", on_top, whole);
  EXPECT_GT(static_cast<double>(on_top), 0.6 * whole);
  const auto again = seed_over_table(stack, seeds, {}, coarse_settings(), one);
  ASSERT_EQ(again.seeds.size(), found.size());
  for (std::size_t i = 0; i < found.size(); ++i) EXPECT_EQ(again.seeds[i].at_sheet_mm, found[i].at_sheet_mm);
}

TEST(SeedOverTable, WhereNothingStandsOnItNothingIsTakenForATable) {
  const std::vector<Patch> seeds = table_patches(4.0);  // a top whose middle was too plain for features
  Workers workers(2);
  const auto [found, table] = seed_over_table(look(false, 8), seeds, {}, coarse_settings(), workers);
  EXPECT_FALSE(table);
  EXPECT_EQ(found.size(), seeds.size());
}

TEST(TablePlane, ATopIsNone) {
  std::vector<Patch> seeds = table_patches(4.0);
  ASSERT_TRUE(table_plane(seeds, {}, {}));
  // A side face below it, a tenth as many.
  const std::size_t side = seeds.size() / 10;
  for (std::size_t i = 0; i < side; ++i) {
    Patch patch = level_at(static_cast<double>(i), y0_mm - 150.0, -10.0 - 0.1 * static_cast<double>(i % 200));
    patch.normal_sheet = -Vector3::UnitY();
    seeds.push_back(patch);
  }
  EXPECT_FALSE(table_plane(seeds, {}, {}));
}

TEST(TablePlane, TheBoardOnTheWoodHidesNone) {
  std::vector<Patch> seeds = table_patches(4.0);
  for (Patch& patch : seeds) patch.at_sheet_mm.z() -= 80.0;
  const std::size_t on_table = seeds.size();
  for (std::size_t i = 0; i < 2 * on_table; ++i)  // features of print, which are strong
    seeds.push_back(level_at(1.0 + static_cast<double>(i % 185), -1.0 - static_cast<double>(i % 134), 0.0));
  const auto table = table_plane(seeds, {}, {});
  ASSERT_TRUE(table);
  EXPECT_NEAR(table->middle_mm.z(), -80.0, 0.04);
}

TEST(TablePlane, NeitherAreAFewPatchesAmongMany) {
  std::vector<Patch> seeds = table_patches(4.0);
  const std::size_t wood = 3 * seeds.size();
  for (std::size_t i = 0; i < wood; ++i)
    seeds.push_back(
        level_at(static_cast<double>(i % 97), static_cast<double>(i % 53), 20.0 + 0.01 * static_cast<double>(i)));
  EXPECT_FALSE(table_plane(seeds, {}, {}));
  EXPECT_FALSE(table_plane({}, {}, {}));
}

}  // namespace
}  // namespace rimwright
