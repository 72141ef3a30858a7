#include "rim/rim_curve.h"

#include <algorithm>
#include <cmath>

namespace rimwright {

RimCurve::RimCurve(const std::vector<Vector2>& points, bool closed, double sample_mm) : closed_(closed) {
  // Arc length by chords: the points lie far closer together than the curve bends.
  const std::size_t count = points.size();
  std::vector<double> along(count + (closed ? 1 : 0), 0.0);
  for (std::size_t i = 1; i < along.size(); ++i) along[i] = along[i - 1] + (points[i % count] - points[i - 1]).norm();
  length_mm_ = along.back();
  const auto pieces = std::max<std::size_t>(2, static_cast<std::size_t>(std::lround(length_mm_ / sample_mm)));
  step_mm_ = length_mm_ / static_cast<double>(pieces);
  steps_a_mm_ = 1.0 / step_mm_;

  samples_.resize(pieces + 1);
  std::size_t k = 0;
  for (std::size_t i = 0; i <= pieces; ++i) {
    const double s = static_cast<double>(i) * step_mm_;
    while (k + 2 < along.size() && along[k + 1] < s) ++k;
    const double share = std::clamp((s - along[k]) / std::max(1e-12, along[k + 1] - along[k]), 0.0, 1.0);
    samples_[i].point = (1 - share) * points[k] + share * points[(k + 1) % count];
  }
  const auto neighbour = [&](std::size_t i, int offset) -> const Vector2& {
    auto j = static_cast<std::ptrdiff_t>(i) + offset;
    const auto n = static_cast<std::ptrdiff_t>(pieces);
    j = closed_ ? ((j % n) + n) % n : std::clamp<std::ptrdiff_t>(j, 0, n);
    return samples_[static_cast<std::size_t>(j)].point;
  };
  for (std::size_t i = 0; i <= pieces; ++i) {
    const std::size_t m = closed_ ? i : std::clamp<std::size_t>(i, 1, pieces - 1);
    const Vector2 before = neighbour(m, -1), here = neighbour(m, 0), after = neighbour(m, 1);
    const Vector2 second = (after - 2 * here + before) / (step_mm_ * step_mm_);
    Vector2 first = (after - before) / (2 * step_mm_);
    const double curvature = (first.x() * second.y() - first.y() * second.x()) / std::pow(first.norm(), 3);
    if (m != i) first += second * (i < m ? -step_mm_ : step_mm_);  // one-sided at the ends of an open curve
    samples_[i].tangent = first.normalized();
    samples_[i].curvature = curvature;
  }
}

RimCurve::Sample RimCurve::at(double station_mm) const {
  double s = wrapped(station_mm);
  if (s < 0.0 || s > length_mm_) {  // open curves go on straight
    const Sample& end = s < 0.0 ? samples_.front() : samples_.back();
    const double beyond = s < 0.0 ? s : s - length_mm_;
    return {end.point + beyond * end.tangent, end.tangent, 0.0};
  }
  const auto i = std::min(samples_.size() - 2, static_cast<std::size_t>(s * steps_a_mm_));
  const Sample &a = samples_[i], &b = samples_[i + 1];
  const double t = s * steps_a_mm_ - static_cast<double>(i);
  const double t2 = t * t, t3 = t2 * t;
  Sample result;
  result.point = (2 * t3 - 3 * t2 + 1) * a.point + (t3 - 2 * t2 + t) * step_mm_ * a.tangent +
                 (3 * t2 - 2 * t3) * b.point + (t3 - t2) * step_mm_ * b.tangent;
  result.tangent = ((1 - t) * a.tangent + t * b.tangent).normalized();
  result.curvature = (1 - t) * a.curvature + t * b.curvature;
  return result;
}

Vector2 RimCurve::point(double station_mm) const { return at(station_mm).point; }
Vector2 RimCurve::tangent(double station_mm) const { return at(station_mm).tangent; }
RimCurve::Place RimCurve::place(double station_mm) const {
  const Sample here = at(station_mm);
  return {here.point, {here.tangent.y(), -here.tangent.x()}};
}
double RimCurve::curvature(double station_mm) const { return at(station_mm).curvature; }

RimCurve::Foot RimCurve::foot_of(const Vector2& p, double guess_station_mm) const {
  double s = guess_station_mm;
  Sample here = at(s);
  for (int round = 0; round < 4; ++round) {
    const Vector2 d = p - here.point;
    const double along = d.dot(here.tangent);
    // d/ds of (p - C).T is -1 + curvature * ((p - C).N), N = the tangent turned by +90 degrees.
    const double inward = -d.x() * here.tangent.y() + d.y() * here.tangent.x();
    const double slope = std::max(0.2, 1.0 - here.curvature * inward);
    const double step = std::clamp(along / slope, -10.0, 10.0);
    s += step;
    here = at(s);
    if (std::abs(step) < 1e-4) break;
  }
  const Vector2 d = p - here.point;
  return {wrapped(s), d.x() * here.tangent.y() - d.y() * here.tangent.x()};
}

RimCurve RimCurve::started_at(double start_mm) const {
  if (!closed_) return *this;
  std::vector<Vector2> points;
  const auto pieces = samples_.size() - 1;
  for (std::size_t i = 0; i < pieces; ++i) points.push_back(point(start_mm + static_cast<double>(i) * step_mm_));
  return {points, true, step_mm_};
}

RimLocator::RimLocator(const RimCurve& curve, double reach_inside_mm, double reach_outside_mm, bool is_smooth)
    : curve_(&curve), inside_mm_(reach_inside_mm), outside_mm_(reach_outside_mm), is_smooth_(is_smooth) {
  const double reach = std::max(reach_inside_mm, reach_outside_mm) + 2 * cell_mm_;
  Vector2 high = low_ = curve.point(0.0);
  constexpr double sample_mm = 1.0;
  const auto count = static_cast<std::size_t>(curve.length_mm() / sample_mm) + 1;
  for (std::size_t i = 0; i < count; ++i) {
    const Vector2 p = curve.point(static_cast<double>(i) * sample_mm);
    low_ = low_.cwiseMin(p);
    high = high.cwiseMax(p);
  }
  low_.array() -= reach;
  high.array() += reach;
  columns_ = static_cast<int>((high.x() - low_.x()) / cell_mm_) + 1;
  rows_ = static_cast<int>((high.y() - low_.y()) / cell_mm_) + 1;
  const auto cells = static_cast<std::size_t>(columns_) * static_cast<std::size_t>(rows_);
  cells_.assign(cells, {});
  std::vector<float> nearest(cells, static_cast<float>(reach * reach));
  for (std::size_t i = 0; i < count; ++i) {
    const double s = static_cast<double>(i) * sample_mm;
    const Vector2 p = curve.point(s);
    const int c0 = std::max(0, static_cast<int>((p.x() - reach - low_.x()) / cell_mm_));
    const int c1 = std::min(columns_ - 1, static_cast<int>((p.x() + reach - low_.x()) / cell_mm_));
    const int r0 = std::max(0, static_cast<int>((p.y() - reach - low_.y()) / cell_mm_));
    const int r1 = std::min(rows_ - 1, static_cast<int>((p.y() + reach - low_.y()) / cell_mm_));
    for (int r = r0; r <= r1; ++r)
      for (int c = c0; c <= c1; ++c) {
        const Vector2 middle = low_ + cell_mm_ * Vector2(c + 0.5, r + 0.5);
        const auto squared = static_cast<float>((middle - p).squaredNorm());
        const auto index =
            static_cast<std::size_t>(r) * static_cast<std::size_t>(columns_) + static_cast<std::size_t>(c);
        if (squared < nearest[index]) {
          nearest[index] = squared;
          cells_[index].station_mm = static_cast<float>(s);
        }
      }
  }
  for (int r = 0; is_smooth && r < rows_; ++r)
    for (int c = 0; c < columns_; ++c) {
      Cell& cell =
          cells_[static_cast<std::size_t>(r) * static_cast<std::size_t>(columns_) + static_cast<std::size_t>(c)];
      if (cell.station_mm < 0.0F) continue;
      const Vector2 middle = low_ + cell_mm_ * Vector2(c + 0.5, r + 0.5);
      const RimCurve::Foot foot = curve.foot_of(middle, static_cast<double>(cell.station_mm));
      // An open curve goes on straight beyond its ends; there, and where the foot left the nearest sample, no slope.
      const double moved = std::abs(foot.station_mm - static_cast<double>(cell.station_mm));
      if (moved > 2.0 * cell_mm_ || foot.station_mm < 0.0) continue;
      const double slope = std::max(0.2, 1.0 + curve.curvature(foot.station_mm) * foot.out_mm);
      const Vector2 tangent = curve.tangent(foot.station_mm) / slope;
      cell = {static_cast<float>(foot.station_mm), static_cast<float>(tangent.x()), static_cast<float>(tangent.y())};
    }
}

}  // namespace rimwright
