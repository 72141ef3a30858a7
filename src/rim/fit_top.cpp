#include "rim/fit_top.h"

#include <Eigen/Cholesky>
#include <Eigen/Eigenvalues>
#include <algorithm>
#include <cmath>
#include <numbers>

#include "core/median.h"

namespace rimwright {

namespace {

// Over how long a stretch (mm) error with correlation exp(-h^2 / (2 L^2)) counts as one for the bend of a strip: for a
// strip far wider than L its integral scale sqrt(2 pi) L; a narrower strip it only shifts and tilts. By quadrature of
// the correlation against the second Legendre polynomial, whose factor the bend is.
double bend_scale_mm(double width_mm, double correlation_length_mm) {
  constexpr int steps = 24;
  double sum = 0.0;
  const auto legendre = [](double u) { return std::sqrt(5.0) * 0.5 * (3.0 * u * u - 1.0); };
  for (int i = 0; i < steps; ++i)
    for (int j = 0; j < steps; ++j) {
      const double u = (2.0 * i + 1.0) / steps - 1.0, v = (2.0 * j + 1.0) / steps - 1.0;
      const double apart = 0.5 * width_mm * (u - v) / correlation_length_mm;
      sum += legendre(u) * legendre(v) * std::exp(-0.5 * apart * apart);
    }
  return std::max(0.0, sum / (steps * steps) * width_mm);
}

}  // namespace

double TopBend::variance_along(const Vector2& direction, const PointNoise& noise) const {
  if (points <= 0.0) return usual_per_mm * usual_per_mm;
  const Vector3 by(2 * direction.x() * direction.x(), 2 * direction.x() * direction.y(),
                   2 * direction.y() * direction.y());
  const double of_unit_noise = by.dot(covariance * by);
  double point_variance = noise.white_mm * noise.white_mm;
  const double length = noise.correlation_length_mm;
  if (noise.correlated_mm > 0.0 && length > 0.0) {
    // n even points over a width w tell a bend to 720 / (n w^4) for unit noise: the width the direction seems to have.
    const double width = std::pow(720.0 / (points * of_unit_noise), 0.25);
    const double tied = points_a_mm2 * std::sqrt(2.0 * std::numbers::pi) * length * bend_scale_mm(width, length);
    point_variance += std::max(1.0, tied) * noise.correlated_mm * noise.correlated_mm;
  }
  return of_unit_noise * point_variance;
}

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
