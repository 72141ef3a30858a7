// Files written by Open3D's own writers, and real meshes of Debian's opencv-doc read by its own reader, as reference.
#include <gtest/gtest.h>
#include <open3d/Open3D.h>

#include <filesystem>
#include <random>
#include <string>
#include <vector>

#include "file_support.h"

namespace rimwright {
namespace {

constexpr unsigned seed = 2026;

std::vector<Vector3> random_points(std::size_t count) {
  std::mt19937 random(seed);
  std::uniform_real_distribution<double> place(-250.0, 250.0);
  std::vector<Vector3> points(count);
  for (Vector3& p : points) p = Vector3(place(random), place(random), 1000.0 + place(random));
  return points;
}

// Largest difference of any coordinate; infinite when the counts differ.
double largest_difference(const Cloud& cloud, const std::vector<Eigen::Vector3d>& points) {
  if (cloud.size() != points.size()) return std::numeric_limits<double>::infinity();
  double worst = 0.0;
  for (std::size_t i = 0; i < points.size(); ++i) {
    worst = std::max(worst, (cloud.point_mm(i) - points[i]).cwiseAbs().maxCoeff());
  }
  return worst;
}

// A step of float at 1250, the largest coordinate, as formats of single precision keep it.
constexpr double float_step = 1.3e-4;

TEST(AgainstOpen3D, CloudsItWrites) {
  const std::vector<Vector3> points = random_points(5000);
  open3d::geometry::PointCloud cloud(points);
  std::mt19937 random(seed);
  std::normal_distribution<double> gauss;
  for (std::size_t i = 0; i < points.size(); ++i) {
    cloud.normals_.push_back(Vector3(gauss(random), gauss(random), gauss(random)).normalized());
    cloud.colors_.emplace_back(static_cast<double>(i % 256) / 255.0, 0.2, 1.0);
  }
  struct Written {
    std::string name;
    bool ascii, compressed, normals, colours;
  };
  for (const Written& written :
       {Written{"a.ply", true, false, true, true}, Written{"b.ply", false, false, true, true},
        Written{"a.pcd", true, false, true, true}, Written{"b.pcd", false, false, true, true},
        Written{"c.pcd", false, true, true, true}, Written{"a.xyz", true, false, false, false},
        Written{"a.xyzn", true, false, true, false}, Written{"a.pts", true, false, false, true}}) {
    SCOPED_TRACE(written.name);
    const testing::TemporaryFile file(written.name, "");
    ASSERT_TRUE(
        open3d::io::WritePointCloud(file.path().string(), cloud, {written.ascii, written.compressed, false, {}}));
    Workers workers(2);
    const auto scan = read_cloud(file.path(), {}, workers);
    ASSERT_TRUE(scan) << scan.error().sentence();
    // Its text PLY keeps six digits: steps of 0.01 above 1000.
    EXPECT_LE(largest_difference(scan->cloud, cloud.points_),
              written.name == "a.ply" ? 0.005 + float_step : float_step);
    ASSERT_EQ(scan->cloud.normals.size(), written.normals ? points.size() : 0U);
    ASSERT_EQ(scan->cloud.colours.size(), written.colours ? points.size() : 0U);
    for (std::size_t i = 0; i < scan->cloud.normals.size(); ++i) {
      const auto& n = scan->cloud.normals[i].times_127;
      // Half a step of the packing a coordinate.
      ASSERT_LE((Vector3(n[0], n[1], n[2]) / 127.0 - cloud.normals_[i]).cwiseAbs().maxCoeff(), 0.51 / 127.0 + 1e-6);
    }
    for (std::size_t i = 0; i < scan->cloud.colours.size(); ++i) {
      ASSERT_EQ(scan->cloud.colours[i], (std::array<std::uint8_t, 3>{static_cast<std::uint8_t>(i % 256), 51, 255}));
    }
  }
}

TEST(AgainstOpen3D, MeshesItWrites) {
  const auto sphere = open3d::geometry::TriangleMesh::CreateSphere(120.0, 12);
  sphere->Translate(Vector3(30, 40, 50));
  sphere->ComputeTriangleNormals();
  const auto area_of = [](const ScanFile& scan) {
    double area = 0.0;
    for (const auto& t : scan.triangles) {
      const Vector3 a = scan.cloud.point_mm(t[0]), b = scan.cloud.point_mm(t[1]), c = scan.cloud.point_mm(t[2]);
      area += 0.5 * (b - a).cross(c - a).norm();
    }
    return area;
  };
  for (const std::string name : {"a.ply", "a.stl", "a.obj", "a.off", "a.glb"}) {
    SCOPED_TRACE(name);
    const testing::TemporaryFile file(name, "");
    ASSERT_TRUE(open3d::io::WriteTriangleMesh(file.path().string(), *sphere));
    Workers workers(1);
    const auto scan = read_cloud(file.path(), {}, workers);
    ASSERT_TRUE(scan) << scan.error().sentence();
    EXPECT_EQ(scan->triangles.size(), sphere->triangles_.size());
    EXPECT_EQ(scan->cloud.size(), sphere->vertices_.size());
    EXPECT_NEAR(area_of(*scan), sphere->GetSurfaceArea(), 1e-6 * sphere->GetSurfaceArea());
  }
}

// Real scans: the Stanford bunny and the models of OpenCV's surface matching sample (Debian package opencv-doc).
TEST(AgainstOpen3D, RealScansOfTheOpencvDocPackage) {
  const std::filesystem::path examples = "/usr/share/doc/opencv-doc/examples";
  for (const std::string name :
       {"viz/data/bunny.ply", "surface_matching/data/parasaurolophus_6700.ply", "surface_matching/data/rs1_normals.ply",
        "surface_matching/data/rs22_proc2.ply", "surface_matching/data/parasaurolophus_low_normals2.ply"}) {
    SCOPED_TRACE(name);
    ASSERT_TRUE(std::filesystem::exists(examples / name)) << "the package opencv-doc is needed";
    Workers workers(2);
    const auto scan = read_cloud(examples / name, {}, workers);
    ASSERT_TRUE(scan) << scan.error().sentence();
    open3d::geometry::TriangleMesh mesh;
    open3d::io::ReadTriangleMeshOptions options;
    ASSERT_TRUE(open3d::io::ReadTriangleMesh((examples / name).string(), mesh, options));
    EXPECT_GT(scan->cloud.size(), 1000U);
    double size = 0.0;
    for (const Vector3& vertex : mesh.vertices_) size = std::max(size, vertex.cwiseAbs().maxCoeff());
    EXPECT_LE(largest_difference(scan->cloud, mesh.vertices_), 1e-6 * size);
  }
}

}  // namespace
}  // namespace rimwright
