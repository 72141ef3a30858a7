#include "rim/refit_top.h"

#include <Eigen/Cholesky>
#include <algorithm>
#include <array>
#include <cmath>

#include "core/median.h"
#include "rim/plan_occupancy.h"

namespace rimwright {

namespace {

using Row = Eigen::Matrix<double, 6, 1>;
using Normal = Eigen::Matrix<double, 6, 6>;
constexpr double length_scale_mm = 100.0;  // keeps the six columns alike in size

// Powers of x and y that the quadric's coefficients go with.
constexpr std::array<std::size_t, 6> power_of_x{0, 1, 0, 2, 1, 0}, power_of_y{0, 0, 1, 0, 1, 2};

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
  std::vector<double> x, y, z;  // body frame; x and y in length scales, z in mm
  double points_a_mm2 = 0.0;

  [[nodiscard]] std::size_t size() const { return z.size(); }
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
    points.x.push_back(p.x() / length_scale_mm);
    points.y.push_back(p.y() / length_scale_mm);
    points.z.push_back(p.z());
    seen.mark(p.head<2>());
  }
  if (seen.size() > 0)
    points.points_a_mm2 =
        static_cast<double>(points.size()) / (static_cast<double>(seen.size()) * square_mm * square_mm);
  return points;
}

using Values = Eigen::ArrayXd;
using Some = Eigen::Map<const Values>;

// How far each point lies above a quadric.
Values heights_over(const Row& quadric, const TopPoints& points) {
  const auto count = static_cast<Eigen::Index>(points.size());
  const Some x(points.x.data(), count), y(points.y.data(), count), z(points.z.data(), count);
  return z - (quadric[0] + x * (quadric[1] + quadric[3] * x + quadric[4] * y) + y * (quadric[2] + quadric[5] * y));
}

// Adds the weighted points' normal equations. Of the products of two columns only 15 differ: x^i y^j, i + j <= 4.
void add_equations(const TopPoints& points, const Values& weights, Normal& normal, Row& right) {
  std::array<std::array<double, 5>, 5> sums{}, sums_with_z{};
  constexpr std::size_t most_at_once = 1024;  // what is made of them stays in the nearest cache
  for (std::size_t first = 0; first < points.size(); first += most_at_once) {
    const auto count = static_cast<Eigen::Index>(std::min(most_at_once, points.size() - first));
    const Some x(&points.x[first], count), y(&points.y[first], count), z(&points.z[first], count);
    Values with_x = weights.segment(static_cast<Eigen::Index>(first), count);
    for (std::size_t i = 0; i <= 4; ++i, with_x *= x) {
      Values with_xy = with_x;
      for (std::size_t j = 0; i + j <= 4; ++j, with_xy *= y) {
        sums[i][j] += with_xy.sum();
        if (i + j <= 2) sums_with_z[i][j] += (with_xy * z).sum();
      }
    }
  }
  for (std::size_t a = 0; a < 6; ++a) {
    right[static_cast<Eigen::Index>(a)] += sums_with_z[power_of_x[a]][power_of_y[a]];
    for (std::size_t b = 0; b < 6; ++b)
      normal(static_cast<Eigen::Index>(a), static_cast<Eigen::Index>(b)) +=
          sums[power_of_x[a] + power_of_x[b]][power_of_y[a] + power_of_y[b]];
  }
}

}  // namespace

Orientation refit_top(Orientation orientation, const Cloud& cloud, const SurfaceCells& cells,
                      const RefitTopSettings& settings) {
  const TopPoints points = points_clear_of_edges(orientation, cloud, cells, settings);
  orientation.top_bend = {Matrix3::Zero(), 0.0, 0.0, settings.usual_bend_per_mm};
  if (points.size() < settings.fewest_points) return orientation;
  Row solution = scaled(orientation.top);
  Normal normal;
  for (int round = 0; round < 5; ++round) {
    const Values heights = heights_over(solution, points);
    std::vector<double> deviations(points.size());
    Eigen::Map<Values>(deviations.data(), heights.size()) = heights.abs();
    // Not below what a depth capture's steps leave.
    const double gate_mm = std::max(0.02, 4.685 * 1.4826 * median_of(std::move(deviations)));
    normal = Normal::Identity() * 1e-6;
    // A bend of twice cxx or cyy; in units of the points' noise and of the scaled coefficients.
    const double noise_over_usual = gate_mm / 4.685 / (0.5 * settings.usual_bend_per_mm * std::pow(length_scale_mm, 2));
    normal.diagonal().tail<3>().array() += noise_over_usual * noise_over_usual;
    Row right = Row::Zero();
    add_equations(points, (1.0 - (heights / gate_mm).square()).max(0.0).square(), normal, right);
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
                          points.points_a_mm2, settings.usual_bend_per_mm};
  return orientation;
}

}  // namespace rimwright
