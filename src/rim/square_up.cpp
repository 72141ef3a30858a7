#include "rim/square_up.h"

#include <Eigen/Cholesky>
#include <Eigen/Eigenvalues>
#include <algorithm>
#include <cmath>

namespace rimwright {

SquareUp square_up(const SurfaceCells& cells, const Orientation& o, const OrientSettings& settings) {
  struct Row {
    Vector3 normal;
    double weight;
  };
  std::vector<Row> rows;
  constexpr double below_channels_mm = -9.0;
  for (std::size_t k = 0; k < o.wall_cells.size(); ++k) {
    const SurfaceCell& cell = cells.cells[o.wall_cells[k]];
    const Vector3 p = o.T_body_scan * cell.mean_mm.cast<double>();
    if (p.z() - o.top.height_mm(p.x(), p.y()) > below_channels_mm) continue;
    Vector3 normal = o.T_body_scan.linear() * cell.normal.cast<double>();
    if (normal.head<2>().dot(o.wall_out[k]) < 0) normal = -normal;
    rows.push_back({normal, 1.0});
  }
  const double bend = Eigen::SelfAdjointEigenSolver<Eigen::Matrix2d>((Eigen::Matrix2d() << 2 * o.top.coefficients[3],
                                                                      o.top.coefficients[4], o.top.coefficients[4],
                                                                      2 * o.top.coefficients[5])
                                                                         .finished())
                          .eigenvalues()
                          .cwiseAbs()
                          .maxCoeff();
  const double prior_tilt = settings.flat_top_tilt_rad + settings.dome_offset_mm * bend;
  SquareUp result;
  result.tilt_u_rad = prior_tilt;
  if (rows.size() < 20) return result;
  const double cells_a_place = std::max(1.0, 30.0 / cells.cell_mm * 8.0);  // normals of one 30 mm stretch err alike
  Vector3 solution = Vector3::Zero();                                      // tilt x, tilt y, sin(lean)
  Matrix3 normal_matrix;
  double scatter = radians_from_degrees(3.0);
  for (int round = 0; round < 6; ++round) {
    const double information = 1.0 / (scatter * scatter * cells_a_place);
    normal_matrix = Matrix3::Zero();
    normal_matrix(0, 0) = normal_matrix(1, 1) = 1.0 / (prior_tilt * prior_tilt);
    normal_matrix(2, 2) = 1.0 / std::pow(radians_from_degrees(settings.usual_lean_deg), 2);
    Vector3 right = Vector3::Zero();
    for (auto& row : rows) {
      const Vector3 a(row.normal.x(), row.normal.y(), -1.0);
      const double r = (row.normal.z() + a.dot(solution)) / (4.685 * scatter);
      row.weight = std::abs(r) < 1.0 ? (1 - r * r) * (1 - r * r) : 0.0;
      normal_matrix += information * row.weight * a * a.transpose();
      right -= information * row.weight * row.normal.z() * a;
    }
    solution = normal_matrix.ldlt().solve(right);
    std::vector<double> deviations;
    for (const auto& row : rows)
      deviations.push_back(std::abs(row.normal.z() + Vector3(row.normal.x(), row.normal.y(), -1.0).dot(solution)));
    const auto middle = deviations.begin() + static_cast<std::ptrdiff_t>(deviations.size() / 2);
    std::nth_element(deviations.begin(), middle, deviations.end());
    scatter = std::max(radians_from_degrees(0.02), 1.4826 * *middle);
  }
  result.up_body = Vector3(solution.x(), solution.y(), 1.0).normalized();
  const Matrix3 covariance = normal_matrix.inverse();
  result.tilt_u_rad = std::sqrt(std::max(covariance(0, 0), covariance(1, 1)));
  return result;
}

}  // namespace rimwright
