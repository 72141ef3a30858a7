// The rim as a curve in plan: arc length to point, tangent, outward normal and curvature, and back.
//
// The body lies to the left of the curve's direction, so stations grow counter-clockwise seen from above the top,
// and `out` is the tangent turned by -90 degrees.
#pragma once

#include <cmath>
#include <cstddef>
#include <optional>
#include <span>
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
  // Wraps into [0, length) where closed; unchanged where open.
  [[nodiscard]] double wrapped(double station_mm) const {
    if (!closed_ || (station_mm >= 0.0 && station_mm < length_mm_)) return station_mm;
    const double turned = std::fmod(station_mm, length_mm_);
    return turned < 0.0 ? turned + length_mm_ : turned;
  }
  // The same curve with station 0 at start_mm (closed curves only; an open curve is returned as it is).
  [[nodiscard]] RimCurve started_at(double start_mm) const;

 private:
  friend class SmoothRimLocator;
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
  RimLocator(const RimCurve& curve, double reach_inside_mm, double reach_outside_mm);
  // Nothing where p lies beyond reach.
  [[nodiscard]] std::optional<RimCurve::Foot> locate(const Vector2& p) const;

 private:
  friend class SmoothRimLocator;
  static constexpr double cell_mm_ = 4.0;
  const RimCurve* curve_;
  double inside_mm_, outside_mm_;
  Vector2 low_;
  int columns_ = 0, rows_ = 0;
  std::vector<float> station_mm_;  // nearest to a cell's middle, of a sample of the curve; negative where out of reach
};

// The same for millions of points, on a curve that is known to be smooth (a fitted outline, not a chain of points).
class SmoothRimLocator {
 public:
  SmoothRimLocator(const RimCurve& curve, double reach_inside_mm, double reach_outside_mm);
  // For each plan point (x, y) its station and how far out it lies: from the nearest sample of the curve by its Taylor
  // series to second order, or where that is not near enough by Newton's method (foot_of). Up to 60 mm inside the body
  // that is a few micrometres of station, and of out what a float leaves: 0.05 um at half a metre. NaN where nothing is
  // within reach. All four have the same size.
  void locate(std::span<const float> x_mm, std::span<const float> y_mm, std::span<float> station_mm,
              std::span<float> out_mm) const;

 private:
  static constexpr std::size_t most_at_once = 256;
  void locate_block(std::size_t count, const float* x_mm, const float* y_mm, float* station_mm, float* out_mm) const;

  const RimCurve* curve_;
  double inside_mm_, outside_mm_;
  Eigen::Vector2f low_;
  float columns_ = 0.0F, rows_ = 0.0F;
  // A cell's middle: the station of its foot (far below 0 where out of reach), and how that grows with the place.
  struct Cell {
    float station_mm, by_x, by_y;
  };
  std::vector<Cell> cells_;  // and one more for all that lies beyond
  struct Sample {
    float x, y, tangent_x, tangent_y, curvature;
  };
  std::vector<Sample> samples_;  // of the curve, every step_mm_
  float step_mm_;
};

}  // namespace rimwright
