#include "rim/refit_top.h"

#include <Eigen/Cholesky>
#include <algorithm>
#include <cmath>

#include "core/median.h"
#include "rim/plan_occupancy.h"

namespace rimwright {

namespace {

using Row = Eigen::Matrix<double, 6, 1>;
using Normal = Eigen::Matrix<double, 6, 6>;
constexpr double length_scale_mm = 100.0;  // keeps the six columns alike in size

Row row_at(const Vector3& p) {
  return (Row() << 1.0, p.x(), p.y(), p.x() * p.x(), p.x() * p.y(), p.y() * p.y()).finished();
}

Row scaled(const TopSurface& top) {
  Row c;
  double scale = 1.0;
  for (int k = 0; k < 6; ++k) {
    if (k == 1 || k == 3) scale *= length_scale_mm;
    c[k] = top.coefficients[static_cast<std::size_t>(k)] * scale;
  }
  return c;
}

struct TopPoints {
  std::vector<Vector3> places;  // body frame; x and y in length scales, z in mm
  double points_a_mm2 = 0.0;
};

// An even share of the scan's points that lie over the top, clear of its edges.
TopPoints points_clear_of_edges(const Orientation& orientation, const Cloud& cloud, const SurfaceCells& cells,
                                const RefitTopSettings& settings) {
  // Cells lie turned in plan: squares a third larger than they are leave no holes between them.
  const double square_mm = std::max(settings.clear_of_edges_mm, 4.0 / 3.0 * cells.cell_mm);
  PlanOccupancy plan(square_mm);
  for (const auto i : orientation.top_cells)
    plan.mark((orientation.T_body_scan * cells.cells[i].mean_mm.cast<double>()).head<2>());
  const PlanOccupancy clear = plan.surrounded();
  const std::size_t every =
      std::max<std::size_t>(1, (cloud.size() + settings.sampled_points - 1) / settings.sampled_points);
  constexpr double near_mm = 6.0;  // farther from the cells' quadric is another surface
  TopPoints points;
  PlanOccupancy seen(square_mm);
  for (std::size_t i = 0; i < cloud.size(); i += every) {
    const Vector3 p = orientation.T_body_scan * Vector3(cloud.x[i], cloud.y[i], cloud.z[i]);
    if (std::abs(p.z() - orientation.top.height_mm(p.x(), p.y())) > near_mm) continue;
    if (!clear.holds(p.head<2>())) continue;
    points.places.emplace_back(p.x() / length_scale_mm, p.y() / length_scale_mm, p.z());
    seen.mark(p.head<2>());
  }
  if (seen.size() > 0)
    points.points_a_mm2 =
        static_cast<double>(points.places.size()) / (static_cast<double>(seen.size()) * square_mm * square_mm);
  return points;
}

}  // namespace

Orientation refit_top(Orientation orientation, const Cloud& cloud, const SurfaceCells& cells,
                      const RefitTopSettings& settings) {
  const auto [points, points_a_mm2] = points_clear_of_edges(orientation, cloud, cells, settings);
  orientation.top_bend = {Matrix3::Zero(), 0.0, 0.0, settings.usual_bend_per_mm};
  if (points.size() < settings.fewest_points) return orientation;
  Row solution = scaled(orientation.top);
  Normal normal;
  for (int round = 0; round < 5; ++round) {
    std::vector<double> deviations;
    deviations.reserve(points.size());
    for (const auto& p : points) deviations.push_back(std::abs(p.z() - row_at(p).dot(solution)));
    // Not below what a depth capture's steps leave.
    const double gate_mm = std::max(0.02, 4.685 * 1.4826 * median_of(std::move(deviations)));
    normal = Normal::Identity() * 1e-6;
    // A bend of twice cxx or cyy; in units of the points' noise and of the scaled coefficients.
    const double noise_over_usual = gate_mm / 4.685 / (0.5 * settings.usual_bend_per_mm * std::pow(length_scale_mm, 2));
    normal.diagonal().tail<3>().array() += noise_over_usual * noise_over_usual;
    Row right = Row::Zero();
    for (const auto& p : points) {
      const Row a = row_at(p);
      const double r = (p.z() - a.dot(solution)) / gate_mm;
      if (std::abs(r) >= 1.0) continue;
      const double weight = (1 - r * r) * (1 - r * r);
      normal += weight * a * a.transpose();
      right += weight * p.z() * a;
    }
    solution = normal.ldlt().solve(right);
  }
  if (!solution.allFinite()) return orientation;
  TopSurface top;
  const double s = length_scale_mm;
  top.coefficients = {solution[0],           solution[1] / s,       solution[2] / s,
                      solution[3] / (s * s), solution[4] / (s * s), solution[5] / (s * s)};
  orientation.top = top;
  const Normal covariance = normal.inverse();
  orientation.top_bend = {covariance.bottomRightCorner<3, 3>() / std::pow(s, 4), static_cast<double>(points.size()),
                          points_a_mm2, settings.usual_bend_per_mm};
  return orientation;
}

}  // namespace rimwright
