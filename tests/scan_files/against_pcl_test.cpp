// Files written by PCL's own writers, as reference.
#include <gtest/gtest.h>
#include <pcl/io/pcd_io.h>
#include <pcl/io/ply_io.h>
#include <pcl/point_types.h>

#include <functional>
#include <limits>
#include <random>
#include <string>

#include "file_support.h"

namespace rimwright {
namespace {

constexpr unsigned seed = 99;

TEST(AgainstPcl, CloudsItWrites) {
  std::mt19937 random(seed);
  std::uniform_real_distribution<float> place(-250.0F, 250.0F);
  std::uniform_int_distribution<int> channel(0, 255);
  pcl::PointCloud<pcl::PointXYZRGBNormal> cloud;
  for (int i = 0; i < 20'000; ++i) {
    pcl::PointXYZRGBNormal p;
    p.x = place(random);
    p.y = place(random);
    p.z = place(random);
    p.r = static_cast<std::uint8_t>(channel(random));
    p.g = static_cast<std::uint8_t>(channel(random));
    p.b = static_cast<std::uint8_t>(channel(random));
    p.normal_x = 0.6F;
    p.normal_y = 0.0F;
    p.normal_z = -0.8F;
    cloud.push_back(p);
  }
  cloud[7].x = std::numeric_limits<float>::quiet_NaN();  // as organised clouds have it
  const auto path_of = [](const testing::TemporaryFile& file) { return file.path().string(); };
  struct Written {
    const char* name;
    std::function<int(const std::string&)> write;
  };
  const std::vector<Written> all = {
      {"ascii.ply", [&](const std::string& path) { return pcl::io::savePLYFileASCII(path, cloud); }},
      {"binary.ply", [&](const std::string& path) { return pcl::io::savePLYFileBinary(path, cloud); }},
      {"ascii.pcd", [&](const std::string& path) { return pcl::io::savePCDFileASCII(path, cloud); }},
      {"binary.pcd", [&](const std::string& path) { return pcl::io::savePCDFileBinary(path, cloud); }},
      {"compressed.pcd", [&](const std::string& path) { return pcl::io::savePCDFileBinaryCompressed(path, cloud); }},
  };
  for (const Written& written : all) {
    SCOPED_TRACE(written.name);
    const testing::TemporaryFile file(written.name, "");
    ASSERT_EQ(written.write(path_of(file)), 0);
    Workers workers(2);
    const auto scan = read_cloud(file.path(), {}, workers);
    ASSERT_TRUE(scan) << scan.error().sentence();
    ASSERT_EQ(scan->cloud.size(), cloud.size());
    ASSERT_EQ(scan->cloud.colours.size(), cloud.size());
    ASSERT_EQ(scan->cloud.normals.size(), cloud.size());
    EXPECT_FALSE(std::isfinite(scan->cloud.x[7]));
    double worst = 0.0;
    for (std::size_t i = 0; i < cloud.size(); ++i) {
      if (i == 7) continue;
      const Vector3 truth(cloud[i].x, cloud[i].y, cloud[i].z);
      worst = std::max(worst, (scan->cloud.point_mm(i) - truth).cwiseAbs().maxCoeff());
      ASSERT_EQ(scan->cloud.colours[i], (std::array<std::uint8_t, 3>{cloud[i].r, cloud[i].g, cloud[i].b}));
      ASSERT_EQ(scan->cloud.normals[i].times_127, (std::array<std::int8_t, 3>{76, 0, -102}));
    }
    // Its text writers keep eight digits (PCD) or six (PLY's streams): a few steps of 1e-3 at 250 at worst.
    EXPECT_LE(worst, std::string(written.name) == "ascii.ply" ? 1e-3 : 5e-5);
  }
}

}  // namespace
}  // namespace rimwright
