// Corners of a chessboard in pictures of a closed form: no bias, and no more scatter than their noise must leave.
#include "capture/photos/refine_corner.h"

#include <gtest/gtest.h>

#include <algorithm>
#include <cmath>
#include <functional>
#include <numbers>
#include <random>
#include <string>
#include <vector>

namespace rimwright {
namespace {

constexpr int size_px = 121;
constexpr double paper = 200.0, ink = 40.0;

struct Scene {
  Vector2 corner_px = Vector2(60.0, 60.0);
  Eigen::Matrix2d pixel_per_mm = Eigen::Matrix2d::Identity();
  double blur_px = 1.0;                                                     // standard deviation
  double noise = 0.0;                                                       // grey levels
  bool markers = true;                                                      // in the white squares, black all over
  std::function<double(double)> tone = [](double light) { return light; };  // both from 0, ink, to 1, paper
};

// Share of paper seen by each pixel: the board's quarters, sampled over the blur (which holds the pixel's own width).
Photo photo_of(const Scene& scene, const ScaleTarget& target, std::mt19937& random) {
  const Eigen::Matrix2d mm_per_pixel = scene.pixel_per_mm.inverse();
  const double quiet_mm = 0.5 * (target.square_mm - target.marker_mm);
  const auto is_paper = [&](const Vector2& pixel) {
    const Vector2 mm = mm_per_pixel * (pixel - scene.corner_px);
    const bool white = (mm.x() > 0.0) == (mm.y() > 0.0);
    const Vector2 off = mm.cwiseAbs();
    return white && !(scene.markers && off.minCoeff() > quiet_mm && off.maxCoeff() < target.square_mm - quiet_mm);
  };
  // A Gaussian by its quantiles along either axis: 24 of them have 0.98 of its spread.
  constexpr int steps = 24;
  std::vector<double> quantiles;
  for (int i = 0; i < steps; ++i) {
    const double wanted = (i + 0.5) / steps;
    double low = -5.0, high = 5.0;
    for (int round = 0; round < 40; ++round) {
      const double middle = 0.5 * (low + high);
      (0.5 * (1.0 + std::erf(middle / std::numbers::sqrt2)) < wanted ? low : high) = middle;
    }
    quantiles.push_back(low * scene.blur_px);
  }
  Photo photo;
  photo.width = photo.height = size_px;
  std::normal_distribution<double> noise(0.0, 1.0);
  for (int row = 0; row < size_px; ++row)
    for (int column = 0; column < size_px; ++column) {
      int seen = 0;
      for (const double dx : quantiles)
        for (const double dy : quantiles) seen += is_paper(Vector2(column + dx, row + dy)) ? 1 : 0;
      const double light = scene.tone(static_cast<double>(seen) / (steps * steps));
      const double grey = ink + (paper - ink) * light + scene.noise * noise(random);
      photo.grey.push_back(static_cast<std::uint8_t>(std::clamp(std::lround(grey), 0L, 255L)));
    }
  return photo;
}

// As seen turned, and from `elevation_deg` above the board, at 0.12 mm a pixel: what 12 megapixels have at 350 mm.
Eigen::Matrix2d seen_from(double elevation_deg, double turn_deg) {
  const double turn = radians_from_degrees(turn_deg);
  Eigen::Matrix2d turned, squeezed = Eigen::Matrix2d::Identity();
  turned << std::cos(turn), -std::sin(turn), std::sin(turn), std::cos(turn);
  squeezed(1, 1) = std::sin(radians_from_degrees(elevation_deg));
  return squeezed * turned / 0.12;
}

ForetoldCorner foretold(const Scene& scene, const Vector2& off_px) {
  return {scene.corner_px + off_px, scene.pixel_per_mm};
}

TEST(RefineCorner, IsUnbiasedAndScattersAsItsNoiseMakesIt) {
  constexpr unsigned seed = 1;
  SCOPED_TRACE("seed " + std::to_string(seed));
  std::mt19937 random(seed);
  std::uniform_real_distribution<double> uniform(-1.0, 1.0);
  const ScaleTarget target;
  const RefineCornerSettings settings;
  for (const double elevation_deg : {90.0, 45.0, 28.0}) {
    constexpr int corners = 60;
    double squares = 0.0;
    Vector2 sum = Vector2::Zero();
    Scene scene;
    scene.noise = 4.0;
    double wanted = 0.0;
    for (int i = 0; i < corners; ++i) {
      scene.corner_px = Vector2(60.0 + uniform(random), 60.0 + uniform(random));
      scene.pixel_per_mm = seen_from(elevation_deg, 180.0 * uniform(random));
      const auto found =
          refine_corner(photo_of(scene, target, random),
                        foretold(scene, {2.0 * uniform(random), 2.0 * uniform(random)}), target, settings);
      ASSERT_TRUE(found) << elevation_deg;
      const Vector2 error = *found - scene.corner_px;
      sum += error;
      // A step of height h blurred by s says h^2 / (2 sqrt(pi) s noise^2) of its place a pixel of its length: the
      // square of its slope, summed across. Each edge goes both ways from the corner; both meet at an angle.
      double variance = 0.0;
      const Vector2 x = scene.pixel_per_mm.col(0), y = scene.pixel_per_mm.col(1);
      const double sine = std::abs(x.x() * y.y() - x.y() * y.x()) / (x.norm() * y.norm());
      for (const Vector2& edge : {x, y}) {
        const double length_px = 2.0 * settings.arm_share * target.square_mm * edge.norm();
        const double of_edge =
            std::pow(scene.noise / (paper - ink), 2) * 2.0 * std::sqrt(std::numbers::pi) * scene.blur_px / length_px;
        variance += of_edge / (sine * sine);
      }
      wanted += variance;
      squares += error.squaredNorm();
    }
    // Two numbers a corner: their sum of squares scatters by 1 / sqrt(corners) of itself at most.
    EXPECT_LT(squares, wanted * (1.0 + 4.0 / std::sqrt(corners))) << elevation_deg;
    EXPECT_GT(squares, wanted * (1.0 - 4.0 / std::sqrt(corners))) << elevation_deg;
    EXPECT_LT(sum.norm() / corners, 4.0 * std::sqrt(wanted) / corners) << elevation_deg;
    EXPECT_LT(std::sqrt(wanted / corners), 0.02) << "the demand is of a few hundredths";
  }
}

TEST(RefineCorner, ToneCurvesDoNotMoveIt) {
  std::mt19937 random(2);
  const ScaleTarget target;
  for (const double elevation_deg : {90.0, 30.0}) {
    Scene scene;
    scene.corner_px = Vector2(60.3, 59.6);
    scene.pixel_per_mm = seen_from(elevation_deg, 25.0);
    scene.tone = [](double light) { return std::pow(light, 1.0 / 2.2); };
    const auto found = refine_corner(photo_of(scene, target, random), foretold(scene, {0.8, -0.5}), target, {});
    ASSERT_TRUE(found);
    EXPECT_LT((*found - scene.corner_px).norm(), 0.015) << elevation_deg;  // grey levels are whole: 0.3 of them
  }
}

TEST(RefineCorner, WhatIsNoCornerIsNone) {
  std::mt19937 random(3);
  const ScaleTarget target;
  Scene scene;
  scene.pixel_per_mm = seen_from(60.0, 10.0);
  Photo photo = photo_of(scene, target, random);
  EXPECT_TRUE(refine_corner(photo, foretold(scene, {0, 0}), target, {}));
  // Along an edge, a quarter of a square on, and farther from the truth than anyone would foretell it.
  EXPECT_FALSE(refine_corner(photo, foretold(scene, scene.pixel_per_mm * Vector2(8.5, 0.0)), target, {}));
  // Grey all over; noise; outside; a board seen edge on.
  Photo flat = photo;
  std::fill(flat.grey.begin(), flat.grey.end(), std::uint8_t{120});
  EXPECT_FALSE(refine_corner(flat, foretold(scene, {0, 0}), target, {}));
  std::uniform_int_distribution<int> any(0, 255);
  Photo noise = photo;
  for (std::uint8_t& grey : noise.grey) grey = static_cast<std::uint8_t>(any(random));
  EXPECT_FALSE(refine_corner(noise, foretold(scene, {0, 0}), target, {}));
  for (const Vector2& at : {Vector2(-500.0, 60.0), Vector2(60.0, 1e9), Vector2(std::nan(""), 60.0)})
    EXPECT_FALSE(refine_corner(photo, {at, scene.pixel_per_mm}, target, {}));
  EXPECT_FALSE(refine_corner(photo, {scene.corner_px, Eigen::Matrix2d::Zero()}, target, {}));
  EXPECT_FALSE(refine_corner(photo, {scene.corner_px, Eigen::Matrix2d::Constant(std::nan(""))}, target, {}));
}

// A hand on half of it, or a corner by the picture's edge: no half of an edge counts without the other.
TEST(RefineCorner, NearTheEdgeOfThePhotoItIsAsSureOrNotThere) {
  std::mt19937 random(4);
  const ScaleTarget target;
  Scene scene;
  scene.pixel_per_mm = seen_from(90.0, 20.0);
  for (double x = 0.0; x < 30.0; x += 3.0) {
    scene.corner_px = Vector2(x + 0.4, 60.2);
    const auto found = refine_corner(photo_of(scene, target, random), foretold(scene, {0.5, 0.5}), target, {});
    EXPECT_TRUE(found || x < 20.0) << x;
    if (found) {
      EXPECT_LT((*found - scene.corner_px).norm(), 0.03) << x;
    }
  }
}

}  // namespace
}  // namespace rimwright
