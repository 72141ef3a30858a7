#include "capture/sample_faces.h"

#include <algorithm>
#include <array>
#include <cmath>
#include <string>
#include <utility>
#include <vector>

#include "capture/file/cloud_arrays.h"

namespace rimwright {

namespace {

using Triangle = std::array<std::uint32_t, 3>;

struct Face {
  std::array<Vector3, 3> corner;  // about the cloud's origin
  Vector3 area_vector = Vector3::Zero();
  double longest_edge = 0.0;
};

Face face_of(const Cloud& cloud, const Triangle& triangle) {
  Face face;
  for (std::size_t k = 0; k < 3; ++k) {
    face.corner[k] = Vector3(cloud.x[triangle[k]], cloud.y[triangle[k]], cloud.z[triangle[k]]);
  }
  face.area_vector = 0.5 * (face.corner[1] - face.corner[0]).cross(face.corner[2] - face.corner[0]);
  for (std::size_t k = 0; k < 3; ++k) {
    face.longest_edge = std::max(face.longest_edge, (face.corner[(k + 1) % 3] - face.corner[k]).norm());
  }
  return face;
}

// Two coordinates of the n-th point of the R2 sequence: additive recurrence with the plastic number, evenly spread
// over the unit square (M. Roberts, The unreasonable effectiveness of quasirandom sequences, 2018).
std::array<double, 2> spread_point(std::uint64_t n) {
  constexpr double g = 1.32471795724474602596;
  const auto fraction = [](double value) { return value - std::floor(value); };
  const double k = static_cast<double>(n % (std::uint64_t{1} << 24));
  return {fraction(0.5 + k / g), fraction(0.5 + k / (g * g))};
}

class Sampler {
 public:
  Sampler(ScanFile scan, const SampleFacesSettings& settings) : cloud_(std::move(scan.cloud)) {
    triangles_ = std::move(scan.triangles);
    faces_of_point_.assign(cloud_.size(), 0);
    for (const Triangle& triangle : triangles_) {
      for (const std::uint32_t corner : triangle) ++faces_of_point_[corner];
    }
    spacing_mm_ = settings.spacing_mm;
    sparse_edge_mm_ = settings.sparse_edge_spacings * spacing_mm_;
    double sparse_area = 0.0;
    for (const Triangle& triangle : triangles_) {
      const Face face = face_of(cloud_, triangle);
      if (is_sparse(face)) sparse_area += face.area_vector.norm();
    }
    const double most = static_cast<double>(settings.most_samples);
    if (sparse_area / (spacing_mm_ * spacing_mm_) > most) spacing_mm_ = std::sqrt(sparse_area / most);
  }

  Cloud run() {
    const std::size_t vertices = cloud_.size();
    double due = 0.0;
    std::uint64_t drawn = 0;
    for (const Triangle& triangle : triangles_) {
      const Face face = face_of(cloud_, triangle);
      if (!is_sparse(face)) continue;
      double stood_for = 0.0;
      for (const std::uint32_t corner : triangle) stood_for += 1.0 / faces_of_point_[corner];
      due += std::max(0.0, face.area_vector.norm() / (spacing_mm_ * spacing_mm_) - stood_for);
      for (; due >= 1.0; due -= 1.0) add_sample(triangle, face, spread_point(drawn++));
    }
    cloud_.counts.sampled_from_faces = cloud_.size() - vertices;
    if (cloud_.counts.sampled_from_faces > 0) {
      cloud_.notes.push_back(
          "The scan is a mesh with sparse vertices: " + std::to_string(cloud_.counts.sampled_from_faces) +
          " points were taken from its flat facets, which may hide what lies between the vertices.");
    }
    return std::move(cloud_);
  }

 private:
  [[nodiscard]] bool is_sparse(const Face& face) const {
    const double area = face.area_vector.norm();
    return face.longest_edge > sparse_edge_mm_ && area > 0.0 && std::isfinite(area) && std::isfinite(face.longest_edge);
  }

  void add_sample(const Triangle& triangle, const Face& face, std::array<double, 2> at) {
    // Folding the unit square onto the triangle keeps the sampling uniform by area.
    if (at[0] + at[1] > 1.0) at = {1.0 - at[0], 1.0 - at[1]};
    const std::array<double, 3> weight = {1.0 - at[0] - at[1], at[0], at[1]};
    const Vector3 point = weight[0] * face.corner[0] + weight[1] * face.corner[1] + weight[2] * face.corner[2];
    cloud_.x.push_back(static_cast<float>(point.x()));
    cloud_.y.push_back(static_cast<float>(point.y()));
    cloud_.z.push_back(static_cast<float>(point.z()));
    const auto nearest = static_cast<std::size_t>(std::max_element(weight.begin(), weight.end()) - weight.begin());
    if (!cloud_.normals.empty()) {
      Vector3 normal = face.area_vector;
      // The winding of a file's faces is not always kept; its normals tell which side the air is on.
      if (normal.dot(normal_of(triangle[nearest])) < 0.0) normal = -normal;
      normal.normalize();
      cloud_.normals.push_back({static_cast<std::uint32_t>(cloud_.size() - 1),
                                packed_normal(static_cast<float>(normal.x()), static_cast<float>(normal.y()),
                                              static_cast<float>(normal.z()))});
    }
    if (!cloud_.colours.empty()) cloud_.colours.push_back(cloud_.colours[triangle[nearest]]);
    if (!cloud_.sigma_mm.empty()) cloud_.sigma_mm.push_back(cloud_.sigma_mm[triangle[nearest]]);
  }

  // Of a vertex; zero where the file does not tell it.
  [[nodiscard]] Vector3 normal_of(std::uint32_t vertex) const {
    const auto found = std::lower_bound(cloud_.normals.begin(), cloud_.normals.end(), vertex,
                                        [](const PointNormal& normal, std::uint32_t v) { return normal.point < v; });
    if (found == cloud_.normals.end() || found->point != vertex) return Vector3::Zero();
    return {static_cast<double>(found->times_127[0]), static_cast<double>(found->times_127[1]),
            static_cast<double>(found->times_127[2])};
  }

  Cloud cloud_;
  std::vector<Triangle> triangles_;
  std::vector<std::uint32_t> faces_of_point_;
  double spacing_mm_ = 0.0;
  double sparse_edge_mm_ = 0.0;
};

}  // namespace

Cloud sample_faces(ScanFile scan, const SampleFacesSettings& settings) {
  if (scan.triangles.empty()) return std::move(scan.cloud);
  return Sampler(std::move(scan), settings).run();
}

}  // namespace rimwright
