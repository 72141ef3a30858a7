#include "capture/sample_faces.h"

#include <gtest/gtest.h>

#include <array>
#include <cmath>

namespace rimwright {
namespace {

// A square of the given side in two triangles, tilted by 45 degrees about x.
ScanFile square(double side) {
  ScanFile scan;
  const double s = side / std::sqrt(2.0);
  const std::array<std::array<double, 3>, 4> corners = {{{0, 0, 0}, {side, 0, 0}, {side, s, s}, {0, s, s}}};
  for (const auto& c : corners) {
    scan.cloud.x.push_back(static_cast<float>(c[0]));
    scan.cloud.y.push_back(static_cast<float>(c[1]));
    scan.cloud.z.push_back(static_cast<float>(c[2]));
    scan.cloud.colours.push_back({static_cast<std::uint8_t>(c[0] > 0 ? 200 : 0), 0, 0});
    scan.cloud.normals.push_back(
        {static_cast<std::uint32_t>(scan.cloud.normals.size()), {0, 90, -90}});  // the other side than the winding says
  }
  scan.triangles = {{0, 1, 2}, {0, 2, 3}};
  return scan;
}

TEST(SampleFaces, AreaUniformAtTheSpacing) {
  const double side = 60.0;
  SampleFacesSettings settings;
  settings.spacing_mm = 0.5;
  const Cloud cloud = sample_faces(square(side), settings);
  const double expected = side * side / (settings.spacing_mm * settings.spacing_mm);
  EXPECT_NEAR(static_cast<double>(cloud.counts.sampled_from_faces), expected, 5.0);  // less what the corners stand for
  ASSERT_EQ(cloud.size(), cloud.counts.sampled_from_faces + 4);
  ASSERT_EQ(cloud.colours.size(), cloud.size());
  ASSERT_EQ(cloud.notes.size(), 1U);

  // Every cell of a 12 x 12 grid holds its share: independent points would scatter by sqrt(100) = 10, an even sequence
  // stays well within that.
  std::array<int, 144> cells{};
  for (std::size_t i = 4; i < cloud.size(); ++i) {
    const double along = cloud.x[i], across = std::hypot(cloud.y[i], cloud.z[i]);
    EXPECT_NEAR(cloud.y[i], cloud.z[i], 1e-4);  // on the face
    const auto column = static_cast<std::size_t>(std::min(11.0, along / 5.0));
    const auto row = static_cast<std::size_t>(std::min(11.0, across / 5.0));
    ++cells[12 * row + column];
    EXPECT_EQ(cloud.normals[i].times_127, (std::array<std::int8_t, 3>{0, 90, -90}));
  }
  for (const int count : cells) EXPECT_NEAR(count, 100, 20);
  // Uniform means each quarter of the middle holds the same, too: the mean lies in the middle.
  double mean = 0.0;
  for (std::size_t i = 4; i < cloud.size(); ++i) mean += cloud.x[i] / static_cast<double>(cloud.size() - 4);
  EXPECT_NEAR(mean, side / 2, 3.0 * side / std::sqrt(12.0 * expected));
}

TEST(SampleFaces, DenseMeshesAreLeftToTheirVertices) {
  ScanFile scan = square(0.4);
  const Cloud cloud = sample_faces(scan, {});
  EXPECT_EQ(cloud.size(), 4U);
  EXPECT_TRUE(cloud.notes.empty());
}

TEST(SampleFaces, TheNumberOfSamplesIsLimited) {
  SampleFacesSettings settings;
  settings.spacing_mm = 1e-3;
  settings.most_samples = 10'000;
  const Cloud cloud = sample_faces(square(100.0), settings);
  EXPECT_LE(cloud.counts.sampled_from_faces, settings.most_samples);
  EXPECT_GE(cloud.counts.sampled_from_faces, settings.most_samples - 10);
}

TEST(SampleFaces, FacesWithoutAreaOrEndGetNone) {
  ScanFile scan = square(50.0);
  scan.triangles = {{0, 0, 1}, {1, 1, 1}, {0, 1, 1}};
  EXPECT_EQ(sample_faces(scan, {}).size(), 4U);
  scan = square(50.0);
  scan.cloud.x[1] = std::nanf("");
  scan.cloud.y[3] = INFINITY;
  EXPECT_EQ(sample_faces(scan, {}).size(), 4U);
}

TEST(SampleFaces, RepeatsExactly) {
  const Cloud one = sample_faces(square(50.0), {}), two = sample_faces(square(50.0), {});
  EXPECT_EQ(one.x, two.x);
  EXPECT_EQ(one.y, two.y);
}

}  // namespace
}  // namespace rimwright
