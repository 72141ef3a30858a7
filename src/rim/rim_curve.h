// The rim as a curve in plan: arc length to point, tangent, outward normal and curvature, and back.
//
// The body lies to the left of the curve's direction, so stations grow counter-clockwise seen from above the top,
// and `out` is the tangent turned by -90 degrees.
#pragma once

#include <cmath>
#include <cstddef>
#include <optional>
#include <vector>

#include "core/frames.h"

namespace rimwright {

class RimCurve {
 public:
  // Points in plan, any spacing well below the radius of curvature, in order; re-sampled by arc length every
  // sample_mm with cubic Hermite pieces between. A closed curve's last point is not its first.
  RimCurve(const std::vector<Vector2>& points, bool closed, double sample_mm = 0.5);

  [[nodiscard]] double length_mm() const { return length_mm_; }
  [[nodiscard]] bool closed() const { return closed_; }
  [[nodiscard]] Vector2 point(double station_mm) const;
  [[nodiscard]] Vector2 tangent(double station_mm) const;  // unit
  [[nodiscard]] Vector2 out(double station_mm) const {
    const Vector2 t = tangent(station_mm);
    return {t.y(), -t.x()};
  }
  struct Place {
    Vector2 point, out;
  };
  [[nodiscard]] Place place(double station_mm) const;       // point and out at once
  [[nodiscard]] double curvature(double station_mm) const;  // 1/mm, positive where the body bulges outward

  struct Foot {
    double station_mm;
    double out_mm;
  };
  // Foot of the perpendicular from p by Newton's method from a guess within about 10 mm. Stations beyond the ends of
  // an open curve are returned as such (the curve goes on straight); closed curves wrap into [0, length).
  [[nodiscard]] Foot foot_of(const Vector2& p, double guess_station_mm) const;
  // The same from a guess that is nearly always within 0.2 mm, on a smooth curve: the nearest sample's Taylor series to
  // second order. Up to 60 mm inside the body that is a few micrometres of station and nanometres of distance from what
  // foot_of gives; where the guess was worse, foot_of.
  [[nodiscard]] Foot foot_near(const Vector2& p, double guess_station_mm) const;

  // Wraps into [0, length) where closed; unchanged where open.
  [[nodiscard]] double wrapped(double station_mm) const {
    if (!closed_ || (station_mm >= 0.0 && station_mm < length_mm_)) return station_mm;
    const double turned = std::fmod(station_mm, length_mm_);
    return turned < 0.0 ? turned + length_mm_ : turned;
  }
  // The same curve with station 0 at start_mm (closed curves only; an open curve is returned as it is).
  [[nodiscard]] RimCurve started_at(double start_mm) const;

 private:
  struct Sample {
    Vector2 point, tangent;
    double curvature;
  };
  [[nodiscard]] Sample at(double station_mm) const;

  std::vector<Sample> samples_;  // every step_mm_ from station 0; for a closed curve one more, equal to the first
  double step_mm_ = 0.5, steps_a_mm_ = 2.0;
  double length_mm_ = 0.0;
  bool closed_ = false;
};

// Finds the nearest rim station of any plan point within reach, in constant time.
class RimLocator {
 public:
  // Where the curve is known to be smooth (a fitted outline, not a chain of points) it is found three times faster.
  RimLocator(const RimCurve& curve, double reach_inside_mm, double reach_outside_mm, bool is_smooth = false);
  // Nothing where p lies beyond reach.
  [[nodiscard]] std::optional<RimCurve::Foot> locate(const Vector2& p) const;

 private:
  const RimCurve* curve_;
  double inside_mm_, outside_mm_;
  bool is_smooth_;
  Vector2 low_;
  static constexpr double cell_mm_ = 4.0;
  int columns_ = 0, rows_ = 0;
  // A cell's middle: the station of its foot (negative where out of reach), and how that grows with the place.
  struct Cell {
    float station_mm = -1.0F, by_x = 0.0F, by_y = 0.0F;
  };
  std::vector<Cell> cells_;
};

// In the header, as every point of a scan comes through here.
inline RimCurve::Foot RimCurve::foot_near(const Vector2& p, double guess_station_mm) const {
  const double steps = guess_station_mm * steps_a_mm_;
  if (!(steps > 0.0 && steps < static_cast<double>(samples_.size() - 1))) return foot_of(p, guess_station_mm);
  const auto nearest = static_cast<std::ptrdiff_t>(steps + 0.5);
  const Sample& here = samples_[static_cast<std::size_t>(nearest)];
  const double dx = p.x() - here.point.x(), dy = p.y() - here.point.y();
  const double along = dx * here.tangent.x() + dy * here.tangent.y();
  const double inward = dy * here.tangent.x() - dx * here.tangent.y();
  const double slope = 1.0 - here.curvature * inward;
  // Half a step to the sample and the guess; the neglected third order is step^3 / 6 times the curvature's change.
  const double farthest_mm = 0.5 * step_mm_ + 0.2;
  if (!(std::abs(along) < farthest_mm * slope)) return foot_of(p, guess_station_mm);
  const double step = along / slope, turn = here.curvature * step;
  // From the curve's point there, with its normal turned by `turn`.
  const double out = -(1.0 - 0.5 * turn * turn) * (inward - 0.5 * turn * step) + turn * (along - step);
  return {wrapped(static_cast<double>(nearest) * step_mm_ + step), out};
}

inline std::optional<RimCurve::Foot> RimLocator::locate(const Vector2& p) const {
  const double x = (p.x() - low_.x()) * (1.0 / cell_mm_), y = (p.y() - low_.y()) * (1.0 / cell_mm_);
  if (!(x >= 0.0 && y >= 0.0 && x < columns_ && y < rows_)) return std::nullopt;
  const int column = static_cast<int>(x), row = static_cast<int>(y);
  const Cell& nearest = cells_[static_cast<std::size_t>(row * columns_ + column)];
  if (nearest.station_mm < 0.0F) return std::nullopt;
  const double from_middle_x = (x - column - 0.5) * cell_mm_, from_middle_y = (y - row - 0.5) * cell_mm_;
  const double guess = static_cast<double>(nearest.station_mm) + static_cast<double>(nearest.by_x) * from_middle_x +
                       static_cast<double>(nearest.by_y) * from_middle_y;
  const RimCurve::Foot foot = is_smooth_ ? curve_->foot_near(p, guess) : curve_->foot_of(p, guess);
  if (foot.out_mm < -inside_mm_ || foot.out_mm > outside_mm_) return std::nullopt;
  return foot;
}

}  // namespace rimwright
