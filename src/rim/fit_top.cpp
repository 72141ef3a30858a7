#include "rim/fit_top.h"

#include <Eigen/Cholesky>
#include <Eigen/Eigenvalues>
#include <algorithm>
#include <cmath>

#include "core/median.h"

namespace rimwright {

std::optional<TopFit> fit_top(const SurfaceCells& cells, const std::vector<std::uint32_t>& members,
                              const Transform& T_body_scan) {
  using Row = Eigen::Matrix<double, 6, 1>;
  constexpr double length_scale = 100.0;  // keeps the six columns alike in size
  std::vector<Vector3> points;
  std::vector<double> counts;
  points.reserve(members.size());
  counts.reserve(members.size());
  for (const auto i : members) {
    points.push_back(T_body_scan * cells.cells[i].mean_mm.cast<double>());
    counts.push_back(cells.cells[i].count);
  }
  const double usual_count = std::max(1.0, median_of(counts));
  const auto row = [](const Vector3& p) {
    const double x = p.x() / length_scale, y = p.y() / length_scale;
    return Row{(Row() << 1.0, x, y, x * x, x * y, y * y).finished()};
  };
  Row solution = Row::Zero();
  double gate_mm = 1e9;
  for (int round = 0; round < 6; ++round) {
    Eigen::Matrix<double, 6, 6> normal = Eigen::Matrix<double, 6, 6>::Identity() * 1e-6;
    Row right = Row::Zero();
    for (std::size_t k = 0; k < points.size(); ++k) {
      const Row a = row(points[k]);
      const double residual = points[k].z() - a.dot(solution);
      const double r = residual / gate_mm;
      if (std::abs(r) >= 1.0) continue;
      const double weight = std::min(1.0, counts[k] / usual_count) * (1 - r * r) * (1 - r * r);
      normal += weight * a * a.transpose();
      right += weight * points[k].z() * a;
    }
    solution = normal.ldlt().solve(right);
    std::vector<double> deviations;
    deviations.reserve(points.size());
    for (const auto& p : points) deviations.push_back(std::abs(p.z() - row(p).dot(solution)));
    gate_mm = std::max(0.02, 4.685 * 1.4826 * median_of(std::move(deviations)));
  }
  if (!solution.allFinite()) return std::nullopt;
  TopFit fit;
  const double s = length_scale;
  fit.surface.coefficients = {solution[0],           solution[1] / s,       solution[2] / s,
                              solution[3] / (s * s), solution[4] / (s * s), solution[5] / (s * s)};
  Eigen::Matrix2d bend;
  const auto& c = fit.surface.coefficients;
  bend << 2 * c[3], c[4], c[4], 2 * c[5];
  const double strongest = Eigen::SelfAdjointEigenSolver<Eigen::Matrix2d>(bend).eigenvalues().cwiseAbs().maxCoeff();
  fit.tightest_radius_mm = 1.0 / std::max(strongest, 1e-12);
  fit.rms_mm = gate_mm / 4.685;
  return fit;
}

}  // namespace rimwright
