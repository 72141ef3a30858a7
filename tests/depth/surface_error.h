// How far points lie from the true surface of a simulated body, face by face and stretch by stretch of the rim.
#pragma once

#include <algorithm>
#include <cmath>
#include <map>
#include <vector>

#include "simulate/depth_camera.h"
#include "simulate/mesh.h"

namespace rimwright_test {

using namespace rimwright;

struct FaceError {
  std::size_t points = 0;
  double mean_mm = 0.0;     // of the stretches' means: positive = points lie in the air
  double rms_mm = 0.0;      // of the stretches' means
  double p95_mm = 0.0;      // of their sizes
  double scatter_mm = 0.0;  // of single points about the surface
};

class SurfaceError {
 public:
  explicit SurfaceError(const Body& body)
      : body_(body), mesh_(mesh_body(body)), rays_(mesh_.vertices, mesh_.triangles) {
    // Along the diagonal between out and up the surface is a graph, so that a ray along it meets the face at hand.
    centre_ = Vector3::Zero();
    for (const auto& vertex : mesh_.vertices) centre_ += vertex.cast<double>();
    centre_ /= static_cast<double>(mesh_.vertices.size());
    // Outline, for the direction at a place.
    for (double s = 0.0; s < body.rim_length_mm(); s += 1.0) outline_.push_back(body.outline_at(s));
  }

  // Stretches are step_mm long; single points farther than gate_mm count as strays and are left out.
  [[nodiscard]] std::map<BodyFace, FaceError> measure(const std::vector<Vector3>& points_body_mm, double from_mm,
                                                      double to_mm, double step_mm, double gate_mm,
                                                      double from_edges_mm) const {
    struct Stretch {
      double sum = 0.0, square = 0.0;
      std::size_t count = 0;
    };
    std::map<std::pair<int, int>, std::map<int, Stretch>> stretches;  // by face and label, then by stretch
    for (const Vector3& point : points_body_mm) {
      const OutlinePoint* rim = nearest(point);
      if (!rim) continue;
      const Vector3 out(rim->out.x(), rim->out.y(), 0.0);
      const Vector3 air = (out + Vector3::UnitZ()).normalized(), across = (Vector3::UnitZ() - out).normalized();
      const auto hit = rays_.cast(point + 20.0 * air, -air);
      const auto left = rays_.cast(point + 20.0 * air + from_edges_mm * across, -air);
      const auto right = rays_.cast(point + 20.0 * air - from_edges_mm * across, -air);
      if (!hit.seen || !left.seen || !right.seen) continue;
      const SurfaceLabel label = mesh_.labels[hit.triangle];
      if (!(label == mesh_.labels[left.triangle]) || !(label == mesh_.labels[right.triangle])) continue;
      const double error = (hit.distance - 20.0) * std::abs(air.dot(hit.normal));
      if (std::abs(error) > gate_mm) continue;
      const double station = static_cast<double>(mesh_.station_mm[mesh_.triangles[hit.triangle][0]]);
      if (station < from_mm || station > to_mm) continue;
      Stretch& stretch = stretches[{static_cast<int>(label.face), 10 * label.channel + label.step}]
                                  [static_cast<int>(std::floor(station / step_mm))];
      stretch.sum += error;
      stretch.square += error * error;
      ++stretch.count;
    }
    std::map<BodyFace, FaceError> result;
    std::map<BodyFace, std::vector<double>> means;
    for (const auto& [key, by_stretch] : stretches) {
      const auto face = static_cast<BodyFace>(key.first);
      for (const auto& [index, stretch] : by_stretch) {
        if (stretch.count < 5) continue;
        FaceError& error = result[face];
        error.points += stretch.count;
        error.scatter_mm += stretch.square;
        means[face].push_back(stretch.sum / static_cast<double>(stretch.count));
      }
    }
    for (auto& [face, error] : result) {
      std::vector<double>& of_face = means[face];
      for (const double mean : of_face) {
        error.mean_mm += mean / static_cast<double>(of_face.size());
        error.rms_mm += mean * mean / static_cast<double>(of_face.size());
      }
      error.rms_mm = std::sqrt(error.rms_mm);
      for (double& mean : of_face) mean = std::abs(mean);
      std::sort(of_face.begin(), of_face.end());
      error.p95_mm = of_face[static_cast<std::size_t>(0.95 * static_cast<double>(of_face.size() - 1))];
      error.scatter_mm = std::sqrt(error.scatter_mm / static_cast<double>(error.points));
    }
    return result;
  }

 private:
  [[nodiscard]] const OutlinePoint* nearest(const Vector3& point) const {
    const OutlinePoint* best = nullptr;
    double least = 80.0 * 80.0;  // farther than this from the rim is not looked at
    for (const OutlinePoint& rim : outline_) {
      const double square = (rim.position_mm - point.head<2>()).squaredNorm();
      if (square < least) {
        least = square;
        best = &rim;
      }
    }
    return best;
  }

  const Body& body_;
  BodyMesh mesh_;
  MeshRays rays_;
  Vector3 centre_;
  std::vector<OutlinePoint> outline_;
};

}  // namespace rimwright_test
