#include "judge/surface_points.h"

#include <Eigen/Eigenvalues>
#include <Eigen/LU>
#include <algorithm>
#include <boost/geometry.hpp>
#include <boost/geometry/index/rtree.hpp>
#include <cmath>
#include <iterator>
#include <limits>
#include <utility>

namespace rimwright {
namespace {

namespace bg = boost::geometry;
using TreePoint = bg::model::point<double, 3, bg::cs::cartesian>;
using TreeEntry = std::pair<TreePoint, std::size_t>;
using Tree = bg::index::rtree<TreeEntry, bg::index::quadratic<16>>;

TreePoint tree_point(const Vector3& p) { return {p.x(), p.y(), p.z()}; }

constexpr std::size_t fewest_points = 6;
constexpr double steepest_slope = 2.14;  // tan 65 degrees: beyond, the height along the axis says little

}  // namespace

struct SurfacePoints::Index {
  std::vector<Vector3> points_mm;
  std::vector<double> sigma_mm;
  Tree tree;
};

SurfacePoints::SurfacePoints(std::vector<Vector3> points_mm, std::vector<double> sigma_mm)
    : index_(std::make_unique<Index>()) {
  std::vector<TreeEntry> entries;
  entries.reserve(points_mm.size());
  for (std::size_t i = 0; i < points_mm.size(); ++i) entries.emplace_back(tree_point(points_mm[i]), i);
  index_->tree = Tree(entries);  // packed
  index_->points_mm = std::move(points_mm);
  index_->sigma_mm = std::move(sigma_mm);
}

SurfacePoints::~SurfacePoints() = default;
SurfacePoints::SurfacePoints(SurfacePoints&&) noexcept = default;
SurfacePoints& SurfacePoints::operator=(SurfacePoints&&) noexcept = default;

std::size_t SurfacePoints::size() const { return index_->points_mm.size(); }
const Vector3& SurfacePoints::at(std::size_t i) const { return index_->points_mm[i]; }

double SurfacePoints::nearest_mm(const Vector3& place_mm) const {
  std::vector<TreeEntry> found;
  index_->tree.query(bg::index::nearest(tree_point(place_mm), 1), std::back_inserter(found));
  return found.empty() ? std::numeric_limits<double>::infinity() : (at(found.front().second) - place_mm).norm();
}

std::vector<std::size_t> SurfacePoints::within(const Vector3& place_mm, double radius_mm) const {
  const Vector3 reach = Vector3::Constant(radius_mm);
  const bg::model::box<TreePoint> box(tree_point(place_mm - reach), tree_point(place_mm + reach));
  std::vector<TreeEntry> found;
  index_->tree.query(bg::index::intersects(box), std::back_inserter(found));
  std::vector<std::size_t> indices;
  for (const TreeEntry& entry : found) {
    if ((at(entry.second) - place_mm).squaredNorm() <= radius_mm * radius_mm) indices.push_back(entry.second);
  }
  std::sort(indices.begin(), indices.end());  // sums in a fixed order
  return indices;
}

LocalPlane SurfacePoints::plane_about(const Vector3& place_mm, double radius_mm) const {
  const std::vector<std::size_t> near = within(place_mm, radius_mm);
  if (near.size() < fewest_points) return {};
  Vector3 mean = Vector3::Zero();
  for (const std::size_t i : near) mean += at(i);
  mean /= static_cast<double>(near.size());
  Matrix3 spread = Matrix3::Zero();
  for (const std::size_t i : near) spread += (at(i) - mean) * (at(i) - mean).transpose();
  const Eigen::SelfAdjointEigenSolver<Matrix3> axes(spread);
  return plane_along(place_mm, axes.eigenvectors().col(0), radius_mm, radius_mm, radius_mm);
}

LocalPlane SurfacePoints::plane_along(const Vector3& place_mm, const Vector3& axis, double radius_mm, double below_mm,
                                      double above_mm) const {
  const Vector3 n = axis.normalized();
  const Vector3 e1 = n.unitOrthogonal(), e2 = n.cross(e1);
  const Vector3 middle = place_mm + n * 0.5 * (above_mm - below_mm);
  const double half_length = 0.5 * (above_mm + below_mm);
  struct InCylinder {
    double u, v, h;
  };
  std::vector<InCylinder> inside;
  double variance = 0.0;
  for (const std::size_t i : within(middle, std::hypot(radius_mm, half_length))) {
    const Vector3 d = at(i) - place_mm;
    const double u = d.dot(e1), v = d.dot(e2), h = d.dot(n);
    if (u * u + v * v > radius_mm * radius_mm || h < -below_mm || h > above_mm) continue;
    inside.push_back({u, v, h});
    variance += index_->sigma_mm[i] * index_->sigma_mm[i];
  }
  LocalPlane plane;
  plane.points = inside.size();
  if (inside.size() < fewest_points) return plane;
  Matrix3 normal_matrix = Matrix3::Zero();
  Vector3 right = Vector3::Zero();
  for (const InCylinder& p : inside) {
    const Vector3 row(1.0, p.u, p.v);
    normal_matrix += row * row.transpose();
    right += row * p.h;
  }
  const Eigen::FullPivLU<Matrix3> solver(normal_matrix);
  if (!solver.isInvertible()) return plane;
  const Vector3 fit = solver.solve(right);
  plane.leverage = solver.inverse()(0, 0);
  const double slope = std::hypot(fit[1], fit[2]);
  // Points all on one side of the axis would make the height an extrapolation.
  constexpr double most_leverage_times_n = 4.0;
  if (plane.leverage * static_cast<double>(inside.size()) > most_leverage_times_n || slope > steepest_slope)
    return plane;
  double sum_of_squares = 0.0, mean_square_radius = 0.0;
  for (InCylinder& p : inside) {
    p.h -= fit[0] + fit[1] * p.u + fit[2] * p.v;  // from here on the residual
    sum_of_squares += p.h * p.h;
    mean_square_radius += (p.u * p.u + p.v * p.v) / static_cast<double>(inside.size());
  }
  plane.found = true;
  plane.height_mm = fit[0];
  plane.normal = (n - fit[1] * e1 - fit[2] * e2).normalized();
  plane.noise_mm = std::sqrt(variance / static_cast<double>(inside.size()) * (1.0 + slope * slope));
  plane.scatter_mm = std::sqrt(sum_of_squares / static_cast<double>(inside.size() - 3));
  // A curved surface h = c r^2 / 2 shifts the plane's height by half of c times the mean r^2. What the residuals show
  // of it, less what noise alone would show, is taken as the form of the surface.
  double bowl = 0.0, bowl_weight = 0.0;
  for (const InCylinder& p : inside) {
    const double r2 = p.u * p.u + p.v * p.v - mean_square_radius;
    bowl += p.h * r2;
    bowl_weight += r2 * r2;
  }
  if (bowl_weight > 0.0) {
    const double shift = bowl / bowl_weight * mean_square_radius;
    const double by_noise = plane.noise_mm * mean_square_radius / std::sqrt(bowl_weight);
    plane.form_mm = std::sqrt(std::max(0.0, shift * shift - by_noise * by_noise));
  }
  return plane;
}

}  // namespace rimwright
