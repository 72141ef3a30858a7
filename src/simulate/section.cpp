#include "simulate/section.h"

#include <algorithm>
#include <cmath>
#include <numbers>

namespace rimwright {

double FaceBump::at(double t_mm) const {
  double x = (t_mm - centre_mm) / half_width_mm;
  if (parabola) {
    x = std::clamp(x, -1.5, 1.5);  // beyond the face's edges only continuity matters
    return height_mm * (1.0 - x * x);
  }
  return std::abs(x) >= 1.0 ? 0.0 : height_mm * 0.5 * (1.0 + std::cos(std::numbers::pi * x));
}

void SectionCurve::set_line(const Vector2& through_uh, const Vector2& along_uh) {
  is_arc = false;
  origin = through_uh;
  along = along_uh;
  normal = along.x() > 0.0 ? Vector2(-along.y(), along.x()) : Vector2(along.y(), -along.x());
}

void SectionCurve::set_arc(const Vector2& centre_uh, double radius_mm, double side, const Vector2& origin_uh,
                           const Vector2& along_uh) {
  is_arc = true;
  centre = centre_uh;
  radius = radius_mm;
  arc_side = side;
  origin = origin_uh;
  along = along_uh;
}

double SectionCurve::base_height(double u) const {
  if (!is_arc) return origin.y() + (u - origin.x()) * along.y() / along.x();
  const double x = u - centre.x();
  return centre.y() + arc_side * std::sqrt(std::max(0.0, radius * radius - x * x));
}

double SectionCurve::base_distance(double u) const {
  if (!is_arc) return (u - origin.x()) / along.x();
  // Arc length from the chord: exact, and signed by the sense of `along`.
  const Vector2 chord = Vector2(u, base_height(u)) - origin;
  const double length = chord.norm();
  const double arc = 2.0 * radius * std::asin(std::min(1.0, 0.5 * length / radius));
  return chord.dot(along) < 0.0 ? -arc : arc;
}

double SectionCurve::departure(double t) const {
  double sum = 0.0;
  for (const FaceBump& bump : bumps) sum += bump.at(t);
  return sum;
}

// With bumps the point above u is base(t) + f(t) n(t); the base point's own u is found by fixed-point steps, which
// contract because the slope of f is well below 1 (checked when the body is made).
double SectionCurve::height(double u) const {
  if (bumps.empty()) return base_height(u);
  double base_u = u;
  for (int i = 0; i < 60; ++i) {
    const double f = departure(base_distance(base_u));
    const Vector2 n = is_arc ? Vector2((Vector2(base_u, base_height(base_u)) - centre) * (arc_side / radius)) : normal;
    const double next = u - f * n.x();
    const double moved = std::abs(next - base_u);
    base_u = next;
    if (moved < 1e-12) break;
  }
  const double f = departure(base_distance(base_u));
  const Vector2 n = is_arc ? Vector2((Vector2(base_u, base_height(base_u)) - centre) * (arc_side / radius)) : normal;
  return base_height(base_u) + f * n.y();
}

double SectionCurve::slope(double u) const {
  if (bumps.empty() && !is_arc) return along.y() / along.x();
  if (bumps.empty()) {
    const double x = u - centre.x();
    return -arc_side * x / std::sqrt(std::max(1e-12, radius * radius - x * x));
  }
  constexpr double step = 1e-5;
  return (height(u + step) - height(u - step)) / (2.0 * step);
}

double SectionCurve::distance_along(double u) const {
  if (bumps.empty()) return base_distance(u);
  double base_u = u;
  for (int i = 0; i < 60; ++i) {
    const Vector2 n = is_arc ? Vector2((Vector2(base_u, base_height(base_u)) - centre) * (arc_side / radius)) : normal;
    base_u = u - departure(base_distance(base_u)) * n.x();
  }
  return base_distance(base_u);
}

double Section::height(double u, std::size_t* curve) const {
  double best = std::numeric_limits<double>::infinity();
  std::size_t best_curve = 0;
  for (std::size_t i = 0; i < curves.size(); ++i) {
    if (!curves[i].covers(u)) continue;
    const double h = curves[i].height(u);
    if (h < best) {
      best = h;
      best_curve = i;
    }
  }
  if (curve != nullptr) *curve = best_curve;
  return best;
}

namespace {

// Where two curves cross within the given range of u.
void add_crossings(const SectionCurve& p, const SectionCurve& q, double from, double to, std::vector<double>& found) {
  if (!(to > from)) return;
  const bool plain = p.bumps.empty() && q.bumps.empty();
  if (plain && !p.is_arc && !q.is_arc) {
    const double difference_slope = p.slope(from) - q.slope(from);
    if (std::abs(difference_slope) < 1e-14) return;
    const double u = from - (p.height(from) - q.height(from)) / difference_slope;
    if (u > from && u < to) found.push_back(u);
    return;
  }
  // Sign changes on a grid, then bisection. The finest bump is about 1 mm wide, so 0.1 mm finds every crossing.
  const int cells = std::clamp(static_cast<int>((to - from) / (plain ? 2.0 : 0.1)), 8, 4000);
  double u0 = from, d0 = p.height(u0) - q.height(u0);
  for (int i = 1; i <= cells; ++i) {
    const double u1 = from + (to - from) * i / cells;
    const double d1 = p.height(u1) - q.height(u1);
    if ((d0 < 0.0) != (d1 < 0.0)) {
      double low = u0, high = u1;
      for (int k = 0; k < 60 && high - low > 1e-13; ++k) {
        const double mid = 0.5 * (low + high);
        ((p.height(mid) - q.height(mid) < 0.0) == (d0 < 0.0) ? low : high) = mid;
      }
      found.push_back(0.5 * (low + high));
    }
    u0 = u1;
    d0 = d1;
  }
}

}  // namespace

std::vector<SectionPiece> Section::pieces() const {
  std::vector<double> breaks{u_from, u_to};
  for (std::size_t i = 0; i < curves.size(); ++i) {
    if (!curves[i].active) continue;
    for (const double end : {curves[i].u_from, curves[i].u_to}) {
      if (end > u_from && end < u_to) breaks.push_back(end);
    }
    for (std::size_t j = i + 1; j < curves.size(); ++j) {
      if (!curves[j].active) continue;
      add_crossings(curves[i], curves[j], std::max({u_from, curves[i].u_from, curves[j].u_from}),
                    std::min({u_to, curves[i].u_to, curves[j].u_to}), breaks);
    }
  }
  std::sort(breaks.begin(), breaks.end());
  std::vector<SectionPiece> pieces;
  for (std::size_t i = 0; i + 1 < breaks.size(); ++i) {
    if (breaks[i + 1] - breaks[i] < 1e-9) continue;
    std::size_t curve = 0;
    const double lowest = height(0.5 * (breaks[i] + breaks[i + 1]), &curve);
    if (!std::isfinite(lowest)) continue;
    if (!pieces.empty() && pieces.back().curve == curve) {
      pieces.back().u_to = breaks[i + 1];
    } else {
      pieces.push_back({curves[curve].label, curve, pieces.empty() ? breaks[i] : pieces.back().u_to, breaks[i + 1]});
    }
  }
  return pieces;
}

}  // namespace rimwright
