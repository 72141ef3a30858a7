// What two libraries take for the same file: a bare read, or the whole job as one would put it together from their own
// parts: voxel thinning, outlier removal, normals, sections of nearest points every millimetre of the rim, planes by
// RANSAC in each. It gets the rim's course for nothing (RIM: a line a millimetre, "x y z" of the corner, of the way out
// and of the way up, and the profile, vertices in out and up, as the simulator knows them), finds no scan's pose,
// states no uncertainty, judges nothing and writes one table (OUT: station, angle, drop, then depths and widths of
// ledges). usage: baseline_chain pcl|open3d read FILE
//        baseline_chain pcl|open3d chain FILE LEAF_MM RIM OUT
// prints a line a step: seconds, step.
#include <open3d/Open3D.h>
#include <pcl/features/normal_3d_omp.h>
#include <pcl/filters/extract_indices.h>
#include <pcl/filters/statistical_outlier_removal.h>
#include <pcl/filters/voxel_grid.h>
#include <pcl/io/ply_io.h>
#include <pcl/kdtree/kdtree_flann.h>
#include <pcl/point_types.h>
#include <pcl/segmentation/sac_segmentation.h>

#include <algorithm>
#include <chrono>
#include <cmath>
#include <cstdio>
#include <fstream>
#include <memory>
#include <string>
#include <vector>

namespace {

using Eigen::Vector3d;

// The same for both libraries; all else (samples and rounds of RANSAC, threads) is each library's own default.
constexpr int outlier_neighbours = 20;      // Open3D's tutorial; PCL's takes 50, which is slower
constexpr double outlier_ratio = 2.0;       // in standard deviations, likewise
constexpr int normal_neighbours = 30;       // Open3D's default
constexpr double plane_within_mm = 0.15;    // a few times the noise of a scanner
constexpr double place_mm = 0.25;           // between places of a section: two on a ledge of 0.65 mm
constexpr std::size_t stations_beside = 4;  // share a station's planes: half our shortest window for side and top
constexpr std::size_t faces_at_most = 9;    // side, top, bevel, and floor and wall of each of three ledges
constexpr std::size_t fewest_points = 12;   // of a plane

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

struct RimStation {
  Vector3d corner, out, up;
  std::vector<Eigen::Vector2d> profile;  // (out, up) from the corner: where the section's surface should be
};

std::vector<RimStation> read_rim(const std::string& file) {
  std::ifstream stream(file);
  std::vector<RimStation> rim;
  RimStation s;
  const auto take = [&stream](Vector3d& v) { return static_cast<bool>(stream >> v.x() >> v.y() >> v.z()); };
  std::size_t vertices = 0;
  while (take(s.corner) && take(s.out) && take(s.up) && stream >> vertices) {
    s.profile.resize(vertices);
    for (auto& vertex : s.profile) stream >> vertex.x() >> vertex.y();
    rim.push_back(s);
  }
  return rim;
}

std::vector<Vector3d> places_of(const RimStation& station) {
  std::vector<Vector3d> places;
  for (std::size_t k = 0; k + 1 < station.profile.size(); ++k) {
    const Eigen::Vector2d from = station.profile[k], along = station.profile[k + 1] - from;
    for (double d = 0.5 * place_mm; d < along.norm(); d += place_mm) {
      const Eigen::Vector2d at = from + d * along.normalized();
      places.push_back(station.corner + at.x() * station.out + at.y() * station.up);
    }
  }
  return places;
}

// normal . p = offset
struct FoundPlane {
  Vector3d normal, middle;
  double offset = 0.0;
  std::size_t points = 0;
};

// Names the planes of a section by how they lie, and writes what they say.
void write_station(std::FILE* table, std::size_t k, const RimStation& here, std::vector<FoundPlane> planes) {
  constexpr double alike = 0.97;  // cosine: 14 degrees
  const FoundPlane *top = nullptr, *side = nullptr, *bevel = nullptr;
  const auto larger = [](const FoundPlane* a, const FoundPlane& b) { return a == nullptr || b.points > a->points; };
  for (FoundPlane& plane : planes) {
    if (plane.normal.dot(here.out + here.up) < 0.0) plane.normal *= -1.0, plane.offset *= -1.0;
    const double up = plane.normal.dot(here.up), out = plane.normal.dot(here.out);
    const FoundPlane*& face = up > alike ? top : out > alike ? side : bevel;
    if ((up > alike || out > alike || (up > 0.4 && out > 0.4)) && larger(face, plane)) face = &plane;
  }
  std::fprintf(table, "%zu", k);
  if (top == nullptr || side == nullptr) {
    std::fprintf(table, " - - :\n");
    return;
  }
  // In the section a plane is a line: a o + b u = c about the given corner.
  const auto meet = [&](const FoundPlane& p, const FoundPlane& q) {
    Eigen::Matrix2d lines;
    lines << p.normal.dot(here.out), p.normal.dot(here.up), q.normal.dot(here.out), q.normal.dot(here.up);
    return Eigen::Vector2d(lines.inverse() *
                           Eigen::Vector2d(p.offset - p.normal.dot(here.corner), q.offset - q.normal.dot(here.corner)));
  };
  const Eigen::Vector2d corner = meet(*top, *side);
  if (bevel != nullptr) {
    const double turn = std::acos(std::clamp(side->normal.dot(bevel->normal), -1.0, 1.0));
    std::fprintf(table, " %.6f %.6f", 180.0 - turn * 180.0 / M_PI, (corner - meet(*bevel, *side)).norm());
  } else {
    std::fprintf(table, " - -");
  }
  for (const FoundPlane& plane : planes) {
    if (&plane == top || &plane == side || &plane == bevel) continue;
    if (plane.normal.dot(here.up) > alike)
      std::fprintf(table, " d%.6f", (top->offset - top->normal.dot(plane.middle)) / top->normal.dot(here.up));
    else if (plane.normal.dot(here.out) > alike)
      std::fprintf(table, " w%.6f", (side->offset - side->normal.dot(plane.middle)) / side->normal.dot(here.out));
  }
  std::fprintf(table, " :\n");
}

// Points of several sections, each once.
std::vector<int> gathered(const std::vector<std::vector<int>>& sections, std::size_t k) {
  std::vector<int> all;
  const std::size_t last = std::min(sections.size() - 1, k + stations_beside);
  for (std::size_t i = k >= stations_beside ? k - stations_beside : 0; i <= last; ++i)
    all.insert(all.end(), sections[i].begin(), sections[i].end());
  std::sort(all.begin(), all.end());
  all.erase(std::unique(all.begin(), all.end()), all.end());
  return all;
}

// PCL's parts. Normals on all threads, as its guide to them advises.
using Point = pcl::PointXYZRGBNormal;
using PclCloud = pcl::PointCloud<Point>;

std::vector<FoundPlane> planes_by_pcl(const PclCloud::Ptr& cloud, const std::vector<int>& points) {
  std::vector<FoundPlane> planes;
  auto rest = std::make_shared<PclCloud>(*cloud, points);
  while (planes.size() < faces_at_most && rest->size() >= fewest_points) {
    pcl::SACSegmentation<Point> search;
    search.setModelType(pcl::SACMODEL_PLANE);
    search.setMethodType(pcl::SAC_RANSAC);
    search.setDistanceThreshold(plane_within_mm);
    search.setInputCloud(rest);
    auto inliers = std::make_shared<pcl::PointIndices>();
    pcl::ModelCoefficients plane;
    search.segment(*inliers, plane);
    if (inliers->indices.size() < fewest_points) break;
    Vector3d middle = Vector3d::Zero();
    for (const int i : inliers->indices) middle += (*rest)[static_cast<std::size_t>(i)].getVector3fMap().cast<double>();
    planes.push_back({Vector3d(plane.values[0], plane.values[1], plane.values[2]),
                      middle / static_cast<double>(inliers->indices.size()), -static_cast<double>(plane.values[3]),
                      inliers->indices.size()});
    pcl::ExtractIndices<Point> extract;
    extract.setInputCloud(rest);
    extract.setIndices(inliers);
    extract.setNegative(true);
    auto left = std::make_shared<PclCloud>();
    extract.filter(*left);
    rest = left;
  }
  return planes;
}

int with_pcl(const std::string& file, double leaf_mm, const std::vector<RimStation>& rim, std::FILE* table) {
  Steps steps;
  auto cloud = std::make_shared<PclCloud>();
  if (pcl::io::loadPLYFile(file, *cloud) < 0) return 2;
  steps.done("read");
  if (table == nullptr) return 0;

  auto thinned = std::make_shared<PclCloud>();
  pcl::VoxelGrid<Point> grid;
  grid.setInputCloud(cloud);
  grid.setLeafSize(static_cast<float>(leaf_mm), static_cast<float>(leaf_mm), static_cast<float>(leaf_mm));
  grid.filter(*thinned);
  steps.done("thin by voxels");
  auto kept = std::make_shared<PclCloud>();
  pcl::StatisticalOutlierRemoval<Point> outliers;
  outliers.setInputCloud(thinned);
  outliers.setMeanK(outlier_neighbours);
  outliers.setStddevMulThresh(outlier_ratio);
  outliers.filter(*kept);
  steps.done("remove outliers");
  pcl::NormalEstimationOMP<Point, Point> normals;
  normals.setInputCloud(kept);
  normals.setKSearch(normal_neighbours);
  normals.compute(*kept);
  steps.done("normals");
  pcl::KdTreeFLANN<Point> tree;
  tree.setInputCloud(kept);
  std::vector<int> nearest(1);
  std::vector<float> squared(1);
  std::vector<std::vector<int>> sections;
  for (const RimStation& station : rim) {
    std::vector<int>& section = sections.emplace_back();
    for (const Vector3d& place : places_of(station)) {
      Point at;
      at.getVector3fMap() = place.cast<float>();
      if (tree.nearestKSearch(at, 1, nearest, squared) > 0) section.push_back(nearest[0]);
    }
  }
  steps.done("sections of nearest points");
  for (std::size_t k = 0; k < rim.size(); ++k)
    write_station(table, k, rim[k], planes_by_pcl(kept, gathered(sections, k)));
  steps.done("planes");
  return 0;
}

std::vector<FoundPlane> planes_by_open3d(const open3d::geometry::PointCloud& cloud, const std::vector<int>& points) {
  std::vector<FoundPlane> planes;
  auto rest = cloud.SelectByIndex({points.begin(), points.end()});
  while (planes.size() < faces_at_most && rest->points_.size() >= fewest_points) {
    const auto [plane, inliers] = rest->SegmentPlane(plane_within_mm);
    if (inliers.size() < fewest_points) break;
    Vector3d middle = Vector3d::Zero();
    for (const std::size_t i : inliers) middle += rest->points_[i];
    planes.push_back({plane.head<3>(), middle / static_cast<double>(inliers.size()), -plane[3], inliers.size()});
    rest = rest->SelectByIndex(inliers, true);
  }
  return planes;
}

int with_open3d(const std::string& file, double leaf_mm, const std::vector<RimStation>& rim, std::FILE* table) {
  Steps steps;
  auto cloud = std::make_shared<open3d::geometry::PointCloud>();
  if (!open3d::io::ReadPointCloud(file, *cloud)) return 2;
  steps.done("read");
  if (table == nullptr) return 0;

  const auto thinned = cloud->VoxelDownSample(leaf_mm);
  steps.done("thin by voxels");
  const auto kept = std::get<0>(thinned->RemoveStatisticalOutliers(outlier_neighbours, outlier_ratio));
  steps.done("remove outliers");
  kept->EstimateNormals(open3d::geometry::KDTreeSearchParamKNN(normal_neighbours));
  steps.done("normals");
  const open3d::geometry::KDTreeFlann tree(*kept);
  std::vector<int> nearest;
  std::vector<double> squared;
  std::vector<std::vector<int>> sections;
  for (const RimStation& station : rim) {
    std::vector<int>& section = sections.emplace_back();
    for (const Vector3d& place : places_of(station))
      if (tree.SearchKNN(place, 1, nearest, squared) > 0) section.push_back(nearest[0]);
  }
  steps.done("sections of nearest points");
  for (std::size_t k = 0; k < rim.size(); ++k)
    write_station(table, k, rim[k], planes_by_open3d(*kept, gathered(sections, k)));
  steps.done("planes");
  return 0;
}

}  // namespace

int main(int argc, char** argv) {
  if (argc != 4 && argc != 7) return 2;
  const std::string library = argv[1];
  const bool whole_chain = argc == 7;
  const std::unique_ptr<std::FILE, int (*)(std::FILE*)> table(whole_chain ? std::fopen(argv[6], "w") : nullptr,
                                                              [](std::FILE* f) { return std::fclose(f); });
  if (whole_chain && table == nullptr) return 2;
  const double leaf_mm = whole_chain ? std::stod(argv[4]) : 0.0;
  const auto rim = whole_chain ? read_rim(argv[5]) : std::vector<RimStation>();
  return library == "pcl" ? with_pcl(argv[3], leaf_mm, rim, table.get())
                          : with_open3d(argv[3], leaf_mm, rim, table.get());
}
