// What is said of a set of photos, from networks made by hand.
#include "capture/photos/photo_verdict.h"

#include <gtest/gtest.h>

#include <cmath>
#include <cstdio>
#include <random>

#include "capture/scale_target.h"

namespace rimwright {
namespace {

// The target's corners, each seen by three photos, with heights of a sheet bent along its length and scatter on top.
CameraNetwork sheet(double rise_mm, double scatter_mm, unsigned seed) {
  CameraNetwork network;
  std::mt19937 random(seed);
  std::normal_distribution<double> scatter(0.0, 1.0);
  const ScaleTarget target;
  for (const Vector3& corner : target_corners_mm(target)) {
    const double across = 2.0 * corner.x() / target.width_mm() - 1.0;
    const Vector3 at(corner.x(), -corner.y(), rise_mm * (1.0 - across * across) + scatter_mm * scatter(random));
    for (std::uint32_t photo = 0; photo < 3; ++photo) {
      network.sightings.push_back({photo, static_cast<std::uint32_t>(network.points.size()), Vector2::Zero()});
    }
    network.points.push_back({at, at, Vector3::Zero(), true});
  }
  return network;
}

TEST(TargetBow, IsThatOfTheSheetNotOfTheScatter) {
  const unsigned seed = 7;
  std::printf("seed %u\n", seed);
  const ScaleTarget target;
  // The outermost corners lie a square in from the board's ends, the innermost half a square off its middle (ten
  // columns of corners): a parabola rises so much between them.
  const double outermost = 1.0 - 2.0 * target.square_mm / target.width_mm();
  const double innermost = target.square_mm / target.width_mm();
  const double rise_mm = 0.8 * (outermost * outermost - innermost * innermost);
  EXPECT_NEAR(target_bow_mm(sheet(0.8, 0.0, seed)), rise_mm, 1e-9);
  EXPECT_NEAR(target_bow_mm(sheet(0.0, 0.0, seed)), 0.0, 1e-9);
  // Of 70 corners that scatter by 0.08 mm the highest and lowest are 0.38 mm apart. Three bending terms are fitted to
  // them; each reaches over the sheet by about sigma sqrt(3 * 3 / 70) = 0.03 mm (variance of a fit, mean and at its
  // ends three times that), peak to valley twice that: 0.06 mm, and three times so much is not to be seen by chance.
  const double scatter_mm = 0.08, shape_mm = 2.0 * scatter_mm * std::sqrt(9.0 / 70.0);
  for (unsigned i = 0; i < 50; ++i) {
    EXPECT_LT(target_bow_mm(sheet(0.0, scatter_mm, seed + i)), 3.0 * shape_mm);
    EXPECT_NEAR(target_bow_mm(sheet(0.8, scatter_mm, seed + i)), rise_mm, 3.0 * shape_mm);
  }
  // Too few corners tell nothing.
  CameraNetwork few = sheet(0.8, 0.0, seed);
  few.sightings.resize(std::size_t{11} * 3);
  EXPECT_EQ(target_bow_mm(few), 0.0);
}

}  // namespace
}  // namespace rimwright
