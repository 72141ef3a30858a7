#include "rim/rim_curve.h"

#include <algorithm>
#include <array>
#include <cmath>
#include <cstdint>
#include <limits>

#include "core/wide_loops.h"

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

RimLocator::RimLocator(const RimCurve& curve, double reach_inside_mm, double reach_outside_mm)
    : curve_(&curve), inside_mm_(reach_inside_mm), outside_mm_(reach_outside_mm) {
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
  station_mm_.assign(cells, -1.0F);
  std::vector<float> nearest(cells, static_cast<float>(reach * reach));
  const double low_x = low_.x();
  for (std::size_t i = 0; i < count; ++i) {
    const double s = static_cast<double>(i) * sample_mm;
    const Vector2 p = curve.point(s);
    const int c0 = std::max(0, static_cast<int>((p.x() - reach - low_.x()) / cell_mm_));
    const int c1 = std::min(columns_ - 1, static_cast<int>((p.x() + reach - low_.x()) / cell_mm_));
    const int r0 = std::max(0, static_cast<int>((p.y() - reach - low_.y()) / cell_mm_));
    const int r1 = std::min(rows_ - 1, static_cast<int>((p.y() + reach - low_.y()) / cell_mm_));
    const auto station = static_cast<float>(s);
    for (int r = r0; r <= r1; ++r) {
      const double dy = low_.y() + cell_mm_ * (r + 0.5) - p.y(), squared_dy = dy * dy;
      float* row_nearest = &nearest[static_cast<std::size_t>(r) * static_cast<std::size_t>(columns_)];
      float* row_station = &station_mm_[static_cast<std::size_t>(r) * static_cast<std::size_t>(columns_)];
      for (int c = c0; c <= c1; ++c) {
        const double dx = low_x + cell_mm_ * (c + 0.5) - p.x();
        const auto squared = static_cast<float>(dx * dx + squared_dy);
        row_station[c] = squared < row_nearest[c] ? station : row_station[c];
        row_nearest[c] = squared < row_nearest[c] ? squared : row_nearest[c];
      }
    }
  }
}

std::optional<RimCurve::Foot> RimLocator::locate(const Vector2& p) const {
  const double x = (p.x() - low_.x()) * (1.0 / cell_mm_), y = (p.y() - low_.y()) * (1.0 / cell_mm_);
  if (!(x >= 0.0 && y >= 0.0 && x < columns_ && y < rows_)) return std::nullopt;
  const auto nearest =
      static_cast<double>(station_mm_[static_cast<std::size_t>(static_cast<int>(y) * columns_ + static_cast<int>(x))]);
  if (nearest < 0.0) return std::nullopt;
  const RimCurve::Foot foot = curve_->foot_of(p, nearest);
  if (foot.out_mm < -inside_mm_ || foot.out_mm > outside_mm_) return std::nullopt;
  return foot;
}

SmoothRimLocator::SmoothRimLocator(const RimCurve& curve, double reach_inside_mm, double reach_outside_mm)
    : curve_(&curve),
      inside_mm_(reach_inside_mm),
      outside_mm_(reach_outside_mm),
      step_mm_(static_cast<float>(curve.step_mm_)) {
  constexpr double cell_mm = RimLocator::cell_mm_;
  constexpr float beyond_mm = -1e6F;
  const RimLocator nearest(curve, reach_inside_mm, reach_outside_mm);
  low_ = nearest.low_.cast<float>();
  columns_ = static_cast<float>(nearest.columns_);
  rows_ = static_cast<float>(nearest.rows_);
  cells_.reserve(nearest.station_mm_.size() + 1);
  for (const float station : nearest.station_mm_) {
    Cell& cell = cells_.emplace_back(Cell{station < 0.0F ? beyond_mm : station, 0.0F, 0.0F});
    if (station < 0.0F) continue;
    const auto index = static_cast<int>(cells_.size() - 1);
    const Vector2 middle =
        nearest.low_ + cell_mm * Vector2(index % nearest.columns_ + 0.5, index / nearest.columns_ + 0.5);
    const RimCurve::Foot foot = curve.foot_of(middle, static_cast<double>(station));
    // An open curve goes on straight beyond its ends; there, and where the foot left the nearest sample, no slope.
    if (std::abs(foot.station_mm - static_cast<double>(station)) > 2.0 * cell_mm || foot.station_mm < 0.0) continue;
    const double slope = std::max(0.2, 1.0 + curve.curvature(foot.station_mm) * foot.out_mm);
    const Vector2 tangent = curve.tangent(foot.station_mm) / slope;
    cell = {static_cast<float>(foot.station_mm), static_cast<float>(tangent.x()), static_cast<float>(tangent.y())};
  }
  cells_.push_back({beyond_mm, 0.0F, 0.0F});
  for (const RimCurve::Sample& sample : curve.samples_)
    samples_.push_back({static_cast<float>(sample.point.x()), static_cast<float>(sample.point.y()),
                        static_cast<float>(sample.tangent.x()), static_cast<float>(sample.tangent.y()),
                        static_cast<float>(sample.curvature)});
}

void SmoothRimLocator::locate(std::span<const float> x_mm, std::span<const float> y_mm, std::span<float> station_mm,
                              std::span<float> out_mm) const {
  for (std::size_t i = 0; i < x_mm.size(); i += most_at_once)
    locate_block(std::min(most_at_once, x_mm.size() - i), &x_mm[i], &y_mm[i], &station_mm[i], &out_mm[i]);
}

// In loops over few operations each, so that all but the looking up is done for several points at once.
RIMWRIGHT_WIDE_LOOPS
void SmoothRimLocator::locate_block(std::size_t count, const float* x_mm, const float* y_mm, float* station_mm,
                                    float* out_mm) const {
  constexpr auto cell_mm = static_cast<float>(RimLocator::cell_mm_);
  constexpr float per_cell = 1.0F / cell_mm;
  const float low_x = low_.x(), low_y = low_.y(), columns = columns_, rows = rows_;
  const auto beyond = static_cast<float>(cells_.size() - 1);
  std::array<std::int32_t, most_at_once> place;
  std::array<float, most_at_once> guess, by_x, by_y;
  for (std::size_t i = 0; i < count; ++i) {
    const float x = (x_mm[i] - low_x) * per_cell, y = (y_mm[i] - low_y) * per_cell;
    const float inside_x = x >= 0.0F ? (x < columns ? x : columns) : columns;
    const float inside_y = y >= 0.0F ? (y < rows ? y : rows) : rows;
    const auto column = static_cast<float>(static_cast<std::int32_t>(inside_x));
    const auto row = static_cast<float>(static_cast<std::int32_t>(inside_y));
    const float index = row * columns + column;
    place[i] = static_cast<std::int32_t>(column < columns ? (row < rows ? index : beyond) : beyond);
    by_x[i] = (inside_x - column - 0.5F) * cell_mm;
    by_y[i] = (inside_y - row - 0.5F) * cell_mm;
  }
  for (std::size_t i = 0; i < count; ++i) {
    const Cell& cell = cells_[static_cast<std::size_t>(place[i])];
    guess[i] = cell.station_mm + cell.by_x * by_x[i] + cell.by_y * by_y[i];
  }
  const float last = static_cast<float>(samples_.size() - 1), per_step = 1.0F / step_mm_;
  for (std::size_t i = 0; i < count; ++i) {
    const float steps = guess[i] * per_step;
    const float on_curve = steps > 0.0F ? (steps < last ? steps : last) : 0.0F;
    place[i] = static_cast<std::int32_t>(on_curve + 0.5F);
  }
  std::array<float, most_at_once> sample_x, sample_y, tangent_x, tangent_y, curvature;
  for (std::size_t i = 0; i < count; ++i) {
    const Sample& sample = samples_[static_cast<std::size_t>(place[i])];
    sample_x[i] = sample.x;
    sample_y[i] = sample.y;
    tangent_x[i] = sample.tangent_x;
    tangent_y[i] = sample.tangent_y;
    curvature[i] = sample.curvature;
  }
  // Half a step to the sample and 0.2 mm of the guess; the neglected third order is that ^3 / 6 times the curvature's
  // change. Points off both ends of the curve have no sample beside them.
  const float step_mm = step_mm_, farthest_mm = 0.5F * step_mm_ + 0.2F;
  std::array<std::int32_t, most_at_once> is_near;
  for (std::size_t i = 0; i < count; ++i) {
    const float dx = x_mm[i] - sample_x[i], dy = y_mm[i] - sample_y[i];
    const float along = dx * tangent_x[i] + dy * tangent_y[i];
    const float inward = dy * tangent_x[i] - dx * tangent_y[i];
    const float slope = 1.0F - curvature[i] * inward;
    const float step = along / slope, turn = curvature[i] * step;
    // From the curve's point there, with its normal turned by `turn`.
    out_mm[i] = turn * (along - step) - (1.0F - 0.5F * turn * turn) * (inward - 0.5F * turn * step);
    station_mm[i] = static_cast<float>(place[i]) * step_mm + step;
    const float steps = guess[i] * per_step;
    is_near[i] = (std::abs(along) < farthest_mm * slope ? 1 : 0) & (steps > 0.0F ? 1 : 0) & (steps < last ? 1 : 0);
  }
  constexpr float nowhere = std::numeric_limits<float>::quiet_NaN();
  const auto inside_mm = static_cast<float>(-inside_mm_), outside_mm = static_cast<float>(outside_mm_);
  const auto length_mm = static_cast<float>(curve_->length_mm());
  if (curve_->closed())
    for (std::size_t i = 0; i < count; ++i) {
      const float after = station_mm[i] < 0.0F ? station_mm[i] + length_mm : station_mm[i];
      station_mm[i] = after >= length_mm ? after - length_mm : after;
    }
  for (std::size_t i = 0; i < count; ++i) {
    if (is_near[i] != 0) continue;
    if (guess[i] < -1e5F) {
      station_mm[i] = out_mm[i] = nowhere;
      continue;
    }
    const RimCurve::Foot foot = curve_->foot_of({x_mm[i], y_mm[i]}, static_cast<double>(guess[i]));
    station_mm[i] = static_cast<float>(foot.station_mm);
    out_mm[i] = static_cast<float>(foot.out_mm);
  }
  for (std::size_t i = 0; i < count; ++i) {
    const float station = station_mm[i], out = out_mm[i];
    const std::int32_t is_within = (out >= inside_mm ? 1 : 0) & (out <= outside_mm ? 1 : 0);
    station_mm[i] = is_within != 0 ? station : nowhere;
    out_mm[i] = is_within != 0 ? out : nowhere;
  }
}

}  // namespace rimwright
