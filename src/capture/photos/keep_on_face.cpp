#include "capture/photos/keep_on_face.h"

#include <Eigen/Dense>
#include <algorithm>
#include <cmath>

#include "capture/photos/patch_grid_index.h"
#include "core/median.h"

namespace rimwright {
namespace {

using Row = Eigen::Matrix<double, 6, 1>;

struct Neighbour {
  Row row;  // 1, s, t, s^2, s t, t^2
  double height_mm;
};

// Whether height 0 at the origin belongs to the surface of the neighbours: least squares with Tukey's weights.
bool lies_on(const std::vector<Neighbour>& neighbours, const KeepOnFaceSettings& settings) {
  Row surface = Row::Zero();
  std::vector<double> weight(neighbours.size(), 1.0);
  double scale = 0.0;
  Eigen::Matrix<double, 6, 6> a;
  for (int round = 0; round < 4; ++round) {
    a.setZero();
    Row b = Row::Zero();
    for (std::size_t i = 0; i < neighbours.size(); ++i) {
      a += weight[i] * neighbours[i].row * neighbours[i].row.transpose();
      b += weight[i] * neighbours[i].height_mm * neighbours[i].row;
    }
    // A little stiffness: one-sided neighbourhoods do not bend away (prior curvature of 1 / 50 mm).
    for (int k = 3; k < 6; ++k) a(k, k) += 1.0;
    surface = a.ldlt().solve(b);
    if (!surface.allFinite()) return true;
    std::vector<double> off;
    for (const Neighbour& n : neighbours) off.push_back(std::abs(n.height_mm - surface.dot(n.row)));
    scale = std::max(median_of(off) / 0.6745, 0.25 * settings.least_gate_mm);
    for (std::size_t i = 0; i < neighbours.size(); ++i) {
      const double u = off[i] / (4.7 * scale);
      weight[i] = u < 1.0 ? std::pow(1.0 - u * u, 2) : 0.0;
    }
  }
  const double own_u = scale * std::sqrt(1.0 + a.inverse()(0, 0));
  return std::abs(surface[0]) < std::max(settings.least_gate_mm, settings.gate_sigmas * own_u);
}

}  // namespace

std::vector<Patch> keep_on_face(const std::vector<Patch>& patches, const KeepOnFaceSettings& settings,
                                Workers& workers) {
  const double same = std::cos(radians_from_degrees(settings.same_face_deg));
  const PatchIndex index(patches, settings.reach_mm);
  std::vector<char> stays(patches.size(), 1);
  workers.for_chunks(patches.size(), 64, [&](std::size_t begin, std::size_t end, std::size_t) {
    std::vector<Neighbour> neighbours;
    for (std::size_t i = begin; i < end; ++i) {
      const Patch& patch = patches[i];
      const Vector3 across = patch.normal_sheet.cross(patch.along_sheet);
      neighbours.clear();
      index.for_near(patch.at_sheet_mm, [&](std::size_t n) {
        if (n == i || patches[n].normal_sheet.dot(patch.normal_sheet) < same) return;
        const Vector3 d = patches[n].at_sheet_mm - patch.at_sheet_mm;
        const double height = d.dot(patch.normal_sheet);
        if (std::abs(height) > settings.near_plane_mm) return;
        const double s = d.dot(patch.along_sheet) / settings.reach_mm, t = d.dot(across) / settings.reach_mm;
        neighbours.push_back({(Row() << 1.0, s, t, s * s, s * t, t * t).finished(), height});
      });
      if (neighbours.size() >= settings.fewest_neighbours && !lies_on(neighbours, settings)) stays[i] = 0;
    }
  });
  std::vector<Patch> kept;
  for (std::size_t i = 0; i < patches.size(); ++i) {
    if (stays[i] != 0) kept.push_back(patches[i]);
  }
  return kept;
}

}  // namespace rimwright
