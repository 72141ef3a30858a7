#include "simulate/outline.h"

#include <Eigen/Dense>
#include <algorithm>
#include <cmath>
#include <numbers>

namespace rimwright {

namespace {

// Gauss-Legendre, 5 points on [-1, 1] (Abramowitz and Stegun, table 25.4).
constexpr double gauss_x[5] = {-0.9061798459386640, -0.5384693101056831, 0.0, 0.5384693101056831, 0.9061798459386640};
constexpr double gauss_w[5] = {0.2369268850561891, 0.4786286704993665, 0.5688888888888889, 0.4786286704993665,
                               0.2369268850561891};

template <class F>
auto integrate(double from, double to, F&& f) {
  const double half = 0.5 * (to - from), mid = 0.5 * (to + from);
  using Value = std::decay_t<decltype(f(0.0))>;
  Value sum = f(mid + half * gauss_x[0]) * gauss_w[0];
  for (int i = 1; i < 5; ++i) sum += Value(f(mid + half * gauss_x[i]) * gauss_w[i]);
  return Value(sum * half);
}

constexpr int nodes_per_span = 64;
constexpr double piece_node_step_mm = 2.0;
constexpr double longest_outline_mm = 20000.0;

Vector2 right_of(const Vector2& along) { return {along.y(), -along.x()}; }

// Second derivatives of the interpolating cubic spline at the control points, uniform-free knots t.
std::vector<Vector2> spline_second_derivatives(const std::vector<Vector2>& p, const std::vector<double>& t,
                                               bool closed) {
  const auto n = static_cast<Eigen::Index>(p.size());
  Eigen::MatrixXd a = Eigen::MatrixXd::Zero(n, n);
  Eigen::MatrixXd b = Eigen::MatrixXd::Zero(n, 2);
  const double period = t.back();
  auto knot = [&](Eigen::Index i) {  // t has n + 1 entries when closed
    if (i < 0) return t[static_cast<std::size_t>(i + n)] - period;
    return i <= n - (closed ? 0 : 1) ? t[static_cast<std::size_t>(i)] : t[static_cast<std::size_t>(i - n)] + period;
  };
  auto point = [&](Eigen::Index i) { return p[static_cast<std::size_t>((i + n) % n)]; };
  for (Eigen::Index i = 0; i < n; ++i) {
    if (!closed && (i == 0 || i == n - 1)) {  // natural ends
      a(i, i) = 1.0;
      continue;
    }
    const double h0 = knot(i) - knot(i - 1), h1 = knot(i + 1) - knot(i);
    a(i, (i + n - 1) % n) += h0 / 6.0;
    a(i, i) += (h0 + h1) / 3.0;
    a(i, (i + 1) % n) += h1 / 6.0;
    const Vector2 right = (point(i + 1) - point(i)) / h1 - (point(i) - point(i - 1)) / h0;
    b.row(i) = right.transpose();
  }
  const Eigen::MatrixXd m = a.partialPivLu().solve(b);
  std::vector<Vector2> second;
  for (Eigen::Index i = 0; i < n; ++i) second.emplace_back(m(i, 0), m(i, 1));
  return second;
}

}  // namespace

void Outline::tabulate_spline(const std::vector<Vector2>& points) {
  const std::size_t n = points.size();
  const std::size_t span_count = closed_ ? n : n - 1;
  std::vector<double> t{0.0};  // chord-length knots
  for (std::size_t i = 0; i < span_count; ++i) t.push_back(t.back() + (points[(i + 1) % n] - points[i]).norm());
  const std::vector<Vector2> m = spline_second_derivatives(points, t, closed_);
  for (std::size_t i = 0; i < span_count; ++i) {
    const std::size_t j = (i + 1) % n;
    const double h = t[i + 1] - t[i];
    spans_.push_back({points[i], points[j] - points[i] - h * h / 6.0 * (2.0 * m[i] + m[j]), 0.5 * h * h * m[i],
                      h * h / 6.0 * (m[j] - m[i])});
  }
  station_.push_back(0.0);
  parameter_.push_back(0.0);
  for (std::size_t i = 0; i < span_count; ++i) {
    const Cubic& c = spans_[i];
    auto speed = [&](double u) { return (c.c1 + 2.0 * u * c.c2 + 3.0 * u * u * c.c3).norm(); };
    for (int k = 0; k < nodes_per_span; ++k) {
      const double u0 = static_cast<double>(k) / nodes_per_span, u1 = static_cast<double>(k + 1) / nodes_per_span;
      station_.push_back(station_.back() + integrate(u0, u1, speed));
      parameter_.push_back(static_cast<double>(i) + u1);
    }
  }
}

void Outline::tabulate_pieces(const std::vector<OutlinePiece>& pieces) {
  double station = 0.0, heading = 0.0;
  Vector2 position = Vector2::Zero();
  for (const OutlinePiece& piece : pieces) {
    const int nodes = std::max(1, static_cast<int>(std::ceil(piece.length_mm / piece_node_step_mm)));
    const double step = piece.length_mm / nodes;
    for (int k = 0; k < nodes; ++k) {
      const double rate = (piece.end_curvature_per_mm - piece.start_curvature_per_mm) / nodes;
      const double k0 = piece.start_curvature_per_mm + rate * k;
      const double k1 = k0 + rate;
      station_.push_back(station);
      position_.push_back(position);
      heading_.push_back(heading);
      curvature_.push_back(k0);
      end_curvature_.push_back(k1);
      position += integrate(0.0, step, [&](double x) {
        const double a = heading + k0 * x + 0.5 * (k1 - k0) / step * x * x;
        return Vector2(std::cos(a), std::sin(a));
      });
      heading += 0.5 * (k0 + k1) * step;
      station += step;
    }
  }
  station_.push_back(station);
}

OutlinePoint Outline::on_spline(std::size_t node, double station_mm) const {
  const auto span = std::min(static_cast<std::size_t>(parameter_[node] + 1e-9), spans_.size() - 1);
  const Cubic& c = spans_[span];
  const double u0 = parameter_[node] - static_cast<double>(span);
  auto speed = [&](double u) { return (c.c1 + 2.0 * u * c.c2 + 3.0 * u * u * c.c3).norm(); };
  const double wanted = station_mm - station_[node];
  double u = u0 + wanted / (station_[node + 1] - station_[node]) / nodes_per_span;
  for (int i = 0; i < 4; ++i) {
    const double error = integrate(u0, u, speed) - wanted;
    u -= error / speed(u);
    if (std::abs(error) < 1e-11) break;
  }
  const Vector2 first = c.c1 + 2.0 * u * c.c2 + 3.0 * u * u * c.c3;
  const Vector2 second = 2.0 * c.c2 + 6.0 * u * c.c3;
  const double v = first.norm();
  const Vector2 along = first / v;
  return {c.c0 + u * (c.c1 + u * (c.c2 + u * c.c3)), along, right_of(along),
          (first.x() * second.y() - first.y() * second.x()) / (v * v * v)};
}

OutlinePoint Outline::on_piece(std::size_t node, double station_mm) const {
  const double length = station_[node + 1] - station_[node];
  const double x = station_mm - station_[node];
  const double k0 = curvature_[node], rate = (end_curvature_[node] - k0) / length;
  auto heading = [&](double y) { return heading_[node] + k0 * y + 0.5 * rate * y * y; };
  const Vector2 position = position_[node] + integrate(0.0, x, [&](double y) {
                             return Vector2(std::cos(heading(y)), std::sin(heading(y)));
                           });
  const Vector2 along(std::cos(heading(x)), std::sin(heading(x)));
  return {position, along, right_of(along), k0 + rate * x};
}

OutlinePoint Outline::at(double station_mm) const {
  double station = station_mm;
  if (closed_) station -= std::floor(station / length_mm()) * length_mm();
  const double inside = std::clamp(station, 0.0, length_mm());
  const auto above = std::upper_bound(station_.begin(), station_.end(), inside);
  auto node = static_cast<std::size_t>(std::distance(station_.begin(), above));
  node = std::clamp<std::size_t>(node, 1, station_.size() - 1) - 1;
  OutlinePoint point = spans_.empty() ? on_piece(node, inside) : on_spline(node, inside);
  if (station != inside) {
    point.position_mm += (station - inside) * point.along;
    point.curvature_per_mm = 0.0;
  }
  return point;
}

Outcome<Outline> Outline::from(const OutlineSpec& spec) {
  Outline outline;
  outline.closed_ = spec.closed;
  if (spec.points_mm.empty() == spec.pieces.empty()) {
    return refuse(RefusalReason::plan_not_valid, "the outline needs either points or pieces",
                  "give one of the two lists");
  }
  if (!spec.pieces.empty()) {
    if (spec.closed) {
      return refuse(RefusalReason::plan_not_valid, "an outline made of pieces cannot be closed", "give points instead");
    }
    for (const OutlinePiece& piece : spec.pieces) {
      if (!(piece.length_mm > 0.0 && piece.length_mm <= longest_outline_mm) ||
          !(std::abs(piece.start_curvature_per_mm) < 0.1 && std::abs(piece.end_curvature_per_mm) < 0.1)) {
        return refuse(RefusalReason::plan_not_valid, "an outline piece has an impossible length or radius",
                      "give lengths above 0 and radii above 10 mm");
      }
    }
    outline.tabulate_pieces(spec.pieces);
    return outline;
  }
  const std::size_t n = spec.points_mm.size();
  if (n < (spec.closed ? 4u : 3u) || n > 400u) {
    return refuse(RefusalReason::plan_not_valid, "the outline has " + std::to_string(n) + " points",
                  "give 4 to 400 points");
  }
  double doubled_area = 0.0;
  for (std::size_t i = 0; i < n; ++i) {
    const Vector2& p = spec.points_mm[i];
    const Vector2& q = spec.points_mm[(i + 1) % n];
    const bool joined = spec.closed || i + 1 < n;
    if (!p.allFinite() || p.norm() > longest_outline_mm || (joined && (p - q).norm() < 1.0)) {
      return refuse(RefusalReason::plan_not_valid, "outline point " + std::to_string(i + 1) + " is not usable",
                    "keep the points finite and at least 1 mm apart");
    }
    doubled_area += p.x() * q.y() - p.y() * q.x();
  }
  if (spec.closed && doubled_area <= 0.0) {
    return refuse(RefusalReason::plan_not_valid, "the outline's points run clockwise",
                  "list them counter-clockwise, seen from above");
  }
  outline.tabulate_spline(spec.points_mm);
  return outline;
}

}  // namespace rimwright
