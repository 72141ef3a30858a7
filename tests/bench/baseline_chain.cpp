// What two libraries' defaults take for the same file: a bare read, or a chain as one would put together from their
// tutorials for this job. It measures nothing of the rim; it is what such a measurement would stand on.
// usage: baseline_chain pcl|open3d read|chain FILE; prints a line a step: seconds, step.
#include <open3d/Open3D.h>
#include <pcl/features/normal_3d.h>
#include <pcl/filters/extract_indices.h>
#include <pcl/filters/statistical_outlier_removal.h>
#include <pcl/filters/voxel_grid.h>
#include <pcl/io/ply_io.h>
#include <pcl/kdtree/kdtree_flann.h>
#include <pcl/point_types.h>
#include <pcl/segmentation/sac_segmentation.h>

#include <algorithm>
#include <chrono>
#include <cstdio>
#include <memory>
#include <string>
#include <vector>

namespace {

// The same for both libraries. Where a library has a default of its own (normals' neighbours, iterations), that is
// used.
constexpr double voxel_mm = 0.5;          // a narrow floor of 0.6 mm still gets a point
constexpr int outlier_neighbours = 20;    // Open3D's tutorial; PCL's uses 50
constexpr double outlier_ratio = 2.0;     // in standard deviations, likewise
constexpr int normal_neighbours = 30;     // Open3D's default
constexpr int planes = 4;                 // side, bevel, top and one ledge; a bent side would need many more
constexpr double plane_within_mm = 0.15;  // a few times the noise
// As many as sections every 2 mm of rim with a place every 0.5 mm of profile ask for; spread over the cloud, as the
// chain knows no rim.
constexpr std::size_t section_places = 270 * 160;

class Steps {
 public:
  void done(const char* step) {
    const auto now = std::chrono::steady_clock::now();
    std::printf("%.4f %s\n", std::chrono::duration<double>(now - begin_).count(), step);
    begin_ = now;
  }

 private:
  std::chrono::steady_clock::time_point begin_ = std::chrono::steady_clock::now();
};

int with_pcl(const std::string& file, bool whole_chain) {
  using Point = pcl::PointXYZRGBNormal;
  Steps steps;
  auto cloud = std::make_shared<pcl::PointCloud<Point>>();
  if (pcl::io::loadPLYFile(file, *cloud) < 0) return 2;
  steps.done("read");
  if (!whole_chain) return 0;

  auto thinned = std::make_shared<pcl::PointCloud<Point>>();
  pcl::VoxelGrid<Point> grid;
  grid.setInputCloud(cloud);
  grid.setLeafSize(static_cast<float>(voxel_mm), static_cast<float>(voxel_mm), static_cast<float>(voxel_mm));
  grid.filter(*thinned);
  steps.done("thin by voxels");
  auto kept = std::make_shared<pcl::PointCloud<Point>>();
  pcl::StatisticalOutlierRemoval<Point> outliers;
  outliers.setInputCloud(thinned);
  outliers.setMeanK(outlier_neighbours);
  outliers.setStddevMulThresh(outlier_ratio);
  outliers.filter(*kept);
  steps.done("remove outliers");
  pcl::NormalEstimation<Point, Point> normals;
  normals.setInputCloud(kept);
  normals.setKSearch(normal_neighbours);
  normals.compute(*kept);
  steps.done("normals");
  auto rest = std::make_shared<pcl::PointCloud<Point>>(*kept);
  for (int plane = 0; plane < planes; ++plane) {
    pcl::SACSegmentation<Point> search;
    search.setModelType(pcl::SACMODEL_PLANE);
    search.setMethodType(pcl::SAC_RANSAC);
    search.setDistanceThreshold(plane_within_mm);
    search.setInputCloud(rest);
    auto inliers = std::make_shared<pcl::PointIndices>();
    pcl::ModelCoefficients coefficients;
    search.segment(*inliers, coefficients);
    pcl::ExtractIndices<Point> extract;
    extract.setInputCloud(rest);
    extract.setIndices(inliers);
    extract.setNegative(true);
    auto left = std::make_shared<pcl::PointCloud<Point>>();
    extract.filter(*left);
    rest = left;
  }
  steps.done("planes");
  pcl::KdTreeFLANN<Point> tree;
  tree.setInputCloud(kept);
  std::vector<int> nearest(1);
  std::vector<float> squared(1);
  double sum = 0.0;
  for (std::size_t i = 0; i < section_places; ++i) {
    Point place = (*kept)[i * kept->size() / section_places];
    place.x += 0.2F;
    tree.nearestKSearch(place, 1, nearest, squared);
    sum += static_cast<double>(squared[0]);
  }
  steps.done("nearest points of sections");
  return sum > 0.0 ? 0 : 1;
}

int with_open3d(const std::string& file, bool whole_chain) {
  Steps steps;
  auto cloud = std::make_shared<open3d::geometry::PointCloud>();
  if (!open3d::io::ReadPointCloud(file, *cloud)) return 2;
  steps.done("read");
  if (!whole_chain) return 0;

  const auto thinned = cloud->VoxelDownSample(voxel_mm);
  steps.done("thin by voxels");
  const auto kept = std::get<0>(thinned->RemoveStatisticalOutliers(outlier_neighbours, outlier_ratio));
  steps.done("remove outliers");
  kept->EstimateNormals(open3d::geometry::KDTreeSearchParamKNN(normal_neighbours));
  steps.done("normals");
  auto rest = std::make_shared<open3d::geometry::PointCloud>(*kept);
  for (int plane = 0; plane < planes; ++plane) {
    const auto inliers = std::get<1>(rest->SegmentPlane(plane_within_mm));
    rest = rest->SelectByIndex(inliers, true);
  }
  steps.done("planes");
  const open3d::geometry::KDTreeFlann tree(*kept);
  std::vector<int> nearest;
  std::vector<double> squared;
  double sum = 0.0;
  for (std::size_t i = 0; i < section_places; ++i) {
    const Eigen::Vector3d place =
        kept->points_[i * kept->points_.size() / section_places] + Eigen::Vector3d(0.2, 0.0, 0.0);
    tree.SearchKNN(place, 1, nearest, squared);
    sum += squared.front();
  }
  steps.done("nearest points of sections");
  return sum > 0.0 ? 0 : 1;
}

}  // namespace

int main(int argc, char** argv) {
  if (argc != 4) return 2;
  const std::string library = argv[1], how = argv[2];
  return library == "pcl" ? with_pcl(argv[3], how == "chain") : with_open3d(argv[3], how == "chain");
}
