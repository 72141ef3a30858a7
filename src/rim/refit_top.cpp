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
constexpr std::size_t enough_for_a_median = 20'000;

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

using Values = Eigen::ArrayXd;
using Some = Eigen::Map<const Values>;

// Points over the top, clear of its edges.
struct TopPoints {
  std::vector<double> x, y, z;  // body frame; x and y in length scales, z in mm
};

// An even share of the scan's points that lie so, in parts that may be worked on side by side.
struct TopSample {
  std::vector<TopPoints> parts;
  std::size_t points = 0;
  double points_a_mm2 = 0.0;
};

TopSample points_clear_of_edges(const Orientation& orientation, const Cloud& cloud, const SurfaceCells& cells,
                                const RefitTopSettings& settings, Workers& workers) {
  // Cells lie turned in plan: squares a third larger than they are leave no holes between them.
  const double square_mm = std::max(settings.clear_of_edges_mm, 4.0 / 3.0 * cells.cell_mm);
  PlanOccupancy plan(square_mm);
  for (const auto i : orientation.top_cells)
    plan.mark((orientation.T_body_scan * cells.cells[i].mean_mm.cast<double>()).head<2>());
  const PlanOccupancy clear = plan.surrounded();
  const std::size_t every =
      std::max<std::size_t>(1, (cloud.size() + settings.sampled_points - 1) / settings.sampled_points);
  constexpr double near_mm = 6.0;  // farther from the cells' quadric is another surface
  constexpr std::size_t sampled_a_part = 8192;
  const std::size_t sampled = (cloud.size() + every - 1) / every;
  const std::size_t part_count = (sampled + sampled_a_part - 1) / sampled_a_part;
  TopSample sample{std::vector<TopPoints>(part_count)};
  std::vector<PlanOccupancy> seen(part_count, PlanOccupancy(square_mm));
  workers.for_chunks(sampled, sampled_a_part, [&](std::size_t begin, std::size_t end, std::size_t part) {
    TopPoints& points = sample.parts[part];
    for (std::size_t i = begin * every; i < end * every && i < cloud.size(); i += every) {
      const Vector3 p = orientation.T_body_scan * Vector3(cloud.x[i], cloud.y[i], cloud.z[i]);
      if (std::abs(p.z() - orientation.top.height_mm(p.x(), p.y())) > near_mm) continue;
      if (!clear.holds(p.head<2>())) continue;
      points.x.push_back(p.x() / length_scale_mm);
      points.y.push_back(p.y() / length_scale_mm);
      points.z.push_back(p.z());
      seen[part].mark(p.head<2>());
    }
  });
  PlanOccupancy all_seen(square_mm);
  for (std::size_t part = 0; part < part_count; ++part) {
    sample.points += sample.parts[part].z.size();
    all_seen.mark_all_of(seen[part]);
  }
  if (sample.points > 0)
    sample.points_a_mm2 =
        static_cast<double>(sample.points) / (static_cast<double>(all_seen.size()) * square_mm * square_mm);
  return sample;
}

// How far each point lies above a quadric.
Values heights_over(const Row& quadric, const TopPoints& points) {
  const auto count = static_cast<Eigen::Index>(points.z.size());
  const Some x(points.x.data(), count), y(points.y.data(), count), z(points.z.data(), count);
  return z - (quadric[0] + x * (quadric[1] + quadric[3] * x + quadric[4] * y) + y * (quadric[2] + quadric[5] * y));
}

struct Equations {
  Normal normal = Normal::Zero();
  Row right = Row::Zero();
};

// The weighted points' normal equations. Of the products of two columns only 15 differ: x^i y^j, i + j <= 4.
Equations equations_of(const TopPoints& points, const Values& weights) {
  const auto count = static_cast<Eigen::Index>(points.z.size());
  const Some x(points.x.data(), count), y(points.y.data(), count), z(points.z.data(), count);
  std::array<std::array<double, 5>, 5> sums{}, sums_with_z{};
  Values with_x = weights;
  for (std::size_t i = 0; i <= 4; ++i, with_x *= x) {
    Values with_xy = with_x;
    for (std::size_t j = 0; i + j <= 4; ++j, with_xy *= y) {
      sums[i][j] = with_xy.sum();
      if (i + j <= 2) sums_with_z[i][j] = (with_xy * z).sum();
    }
  }
  Equations equations;
  for (std::size_t a = 0; a < 6; ++a) {
    const auto row = static_cast<Eigen::Index>(a);
    equations.right[row] = sums_with_z[power_of_x[a]][power_of_y[a]];
    for (std::size_t b = 0; b < 6; ++b)
      equations.normal(row, static_cast<Eigen::Index>(b)) =
          sums[power_of_x[a] + power_of_x[b]][power_of_y[a] + power_of_y[b]];
  }
  return equations;
}

}  // namespace

Orientation refit_top(Orientation orientation, const Cloud& cloud, const SurfaceCells& cells,
                      const RefitTopSettings& settings, Workers& workers) {
  const TopSample sample = points_clear_of_edges(orientation, cloud, cells, settings, workers);
  orientation.top_bend = {Matrix3::Zero(), 0.0, 0.0, settings.usual_bend_per_mm};
  if (sample.points < settings.fewest_points) return orientation;
  Row solution = scaled(orientation.top);
  Normal normal;
  std::vector<Values> heights(sample.parts.size());
  std::vector<Equations> equations(sample.parts.size());
  const auto for_parts = [&](const auto& body) {
    workers.for_chunks(sample.parts.size(), 1, [&](std::size_t part, std::size_t, std::size_t) { body(part); });
  };
  for (int round = 0; round < 5; ++round) {
    for_parts([&](std::size_t part) { heights[part] = heights_over(solution, sample.parts[part]); });
    // A fair share of the deviations tells their usual size.
    const std::size_t share = sample.points / enough_for_a_median + 1;
    std::vector<double> deviations;
    for (const Values& part : heights)
      for (std::size_t i = 0; i < static_cast<std::size_t>(part.size()); i += share)
        deviations.push_back(std::abs(part[static_cast<Eigen::Index>(i)]));
    // Not below what a depth capture's steps leave.
    const double gate_mm = std::max(0.02, 4.685 * 1.4826 * median_of(std::move(deviations)));
    normal = Normal::Identity() * 1e-6;
    // A bend of twice cxx or cyy; in units of the points' noise and of the scaled coefficients.
    const double noise_over_usual = gate_mm / 4.685 / (0.5 * settings.usual_bend_per_mm * std::pow(length_scale_mm, 2));
    normal.diagonal().tail<3>().array() += noise_over_usual * noise_over_usual;
    Row right = Row::Zero();
    for_parts([&](std::size_t part) {
      equations[part] = equations_of(sample.parts[part], (1.0 - (heights[part] / gate_mm).square()).max(0.0).square());
    });
    for (const Equations& part : equations) {
      normal += part.normal;
      right += part.right;
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
  orientation.top_bend = {covariance.bottomRightCorner<3, 3>() / std::pow(s, 4), static_cast<double>(sample.points),
                          sample.points_a_mm2, settings.usual_bend_per_mm};
  return orientation;
}

}  // namespace rimwright
