// The chain from a file to a cloud, on whole files.
#include "pipelines/cloud_from_file.h"

#include <gtest/gtest.h>

#include <cmath>
#include <random>
#include <string>

#include "file_support.h"

namespace rimwright {
namespace {

constexpr unsigned seed = 3;

Outcome<Cloud> cloud_of_bytes(const std::string& name, const std::string& bytes, std::size_t threads = 2) {
  const testing::TemporaryFile file(name, bytes);
  Workers workers(threads);
  return cloud_from_file(file.path(), {}, workers);
}

TEST(CloudFromFile, PointsInMetresWithStraysAndDuplicates) {
  std::mt19937 random(seed);
  std::uniform_real_distribution<double> unit(0.0, 1.0);
  std::string text;
  for (int i = 0; i < 20'000; ++i) {
    text += std::to_string(0.4 * unit(random)) + ' ' + std::to_string(0.3 * unit(random)) + " 0.08\n";
  }
  text += "nan 0 0\n5000 0 0\n0.2 0.1 0.07\n0.2 0.1 0.07\n";
  const auto cloud = cloud_of_bytes("body.xyz", text);
  ASSERT_TRUE(cloud) << cloud.error().sentence();
  EXPECT_EQ(cloud->counts.points_in_file, 20'004U);
  EXPECT_EQ(cloud->counts.not_finite, 1U);
  EXPECT_EQ(cloud->counts.far_outliers, 1U);
  EXPECT_GE(cloud->counts.duplicates, 1U);
  EXPECT_EQ(cloud->scale.factor, 1000.0);
  EXPECT_EQ(cloud->size() + cloud->counts.not_finite + cloud->counts.far_outliers + cloud->counts.duplicates, 20'004U);
  for (std::size_t i = 0; i < cloud->size(); ++i) ASSERT_LE(cloud->point_mm(i).cwiseAbs().maxCoeff(), 401.0);
}

// A closed box of 12 triangles, 300 x 200 x 60 mm: its cloud lies on its faces and shows all of them alike.
TEST(CloudFromFile, ACoarseMeshBecomesACloud) {
  std::string obj;
  for (int i = 0; i < 8; ++i) {
    obj += "v " + std::to_string(i & 1 ? 300 : 0) + ' ' + std::to_string(i & 2 ? 200 : 0) + ' ' +
           std::to_string(i & 4 ? 60 : 0) + '\n';
  }
  obj += "f 1 3 4 2\nf 5 6 8 7\nf 1 2 6 5\nf 3 7 8 4\nf 1 5 7 3\nf 2 4 8 6\n";
  const auto cloud = cloud_of_bytes("box.obj", obj);
  ASSERT_TRUE(cloud) << cloud.error().sentence();
  const double area = 2.0 * (300.0 * 200.0 + 300.0 * 60.0 + 200.0 * 60.0);
  const double spacing = SampleFacesSettings{}.spacing_mm;
  EXPECT_NEAR(static_cast<double>(cloud->size()), area / (spacing * spacing), 20.0);
  std::size_t on_top = 0;
  for (std::size_t i = 0; i < cloud->size(); ++i) {
    const Vector3 p = cloud->point_mm(i);
    const Vector3 inside = p.cwiseMin(Vector3(300, 200, 60) - p);
    ASSERT_NEAR(inside.minCoeff(), 0.0, 1e-4);
    if (p.z() > 60.0 - 1e-4) ++on_top;
  }
  EXPECT_NEAR(static_cast<double>(on_top), 300.0 * 200.0 / (spacing * spacing), 0.01 * static_cast<double>(on_top));
  EXPECT_EQ(cloud->counts.points_in_file, 8U);
  EXPECT_FALSE(cloud->notes.empty());
}

TEST(CloudFromFile, RefusalsComeThrough) {
  const auto reason_of = [](const std::string& name, const std::string& bytes) {
    const auto cloud = cloud_of_bytes(name, bytes);
    return cloud ? "accepted" : std::string(name_of(cloud.error().reason));
  };
  std::string line, coincident;
  for (int i = 0; i < 2000; ++i) {
    line += std::to_string(0.1 * i) + " 0 0\n";
    coincident += "1 2 3\n";
  }
  EXPECT_EQ(reason_of("empty.xyz", ""), "too few points");
  EXPECT_EQ(reason_of("one.xyz", "1 2 3\n"), "too few points");
  EXPECT_EQ(reason_of("coincident.xyz", coincident), "shape degenerate");
  EXPECT_EQ(reason_of("few.xyz", "0 0 0\n300 0 0\n0 300 0\n"), "too few points");
  EXPECT_EQ(reason_of("line.xyz", line), "shape degenerate");
}

TEST(CloudFromFile, TheSameForOneAndTwoThreads) {
  std::mt19937 random(seed);
  std::normal_distribution<double> gauss(0.0, 100.0);
  std::string text;
  for (int i = 0; i < 30'000; ++i) {
    text += std::to_string(gauss(random)) + ' ' + std::to_string(gauss(random)) + ' ' + std::to_string(gauss(random)) +
            '\n';
  }
  const auto one = cloud_of_bytes("body.xyz", text, 1), two = cloud_of_bytes("body.xyz", text, 2);
  ASSERT_TRUE(one && two);
  EXPECT_EQ(one->x, two->x);
  EXPECT_EQ(one->y, two->y);
  EXPECT_EQ(one->z, two->z);
  EXPECT_EQ(one->counts.far_outliers, two->counts.far_outliers);
}

}  // namespace
}  // namespace rimwright
