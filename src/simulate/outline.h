// The rim in plan as a curve by arc length: position, direction, curvature at any station, to rounding error.
#pragma once

#include <vector>

#include "core/refusal.h"
#include "simulate/body_spec.h"

namespace rimwright {

struct OutlinePoint {
  Vector2 position_mm;
  Vector2 along;            // unit, direction of growing station
  Vector2 out;              // unit, right of `along`: away from the body
  double curvature_per_mm;  // positive = convex (turning left)
};

class Outline {
 public:
  // Refuses fewer than 4 points (3 when open), coincident neighbours, clockwise closed outlines, empty pieces.
  [[nodiscard]] static Outcome<Outline> from(const OutlineSpec& spec);

  [[nodiscard]] double length_mm() const { return station_.back(); }
  [[nodiscard]] bool closed() const { return closed_; }
  // Stations beyond the ends wrap (closed) or carry straight on (open).
  [[nodiscard]] OutlinePoint at(double station_mm) const;

 private:
  // The curve is tabulated at nodes; between them it is evaluated exactly from the node.
  bool closed_ = false;
  std::vector<double> station_;    // of each node
  std::vector<double> parameter_;  // spline parameter of each node (control points) ...
  std::vector<Vector2> position_;
  std::vector<double> heading_;    // ... or heading (pieces), rad
  std::vector<double> curvature_;  // pieces: at the node; linear to the next
  std::vector<double> end_curvature_;
  struct Cubic {  // one spline span over u in [0, 1]
    Vector2 c0, c1, c2, c3;
  };
  std::vector<Cubic> spans_;
  [[nodiscard]] OutlinePoint on_spline(std::size_t node, double station_mm) const;
  [[nodiscard]] OutlinePoint on_piece(std::size_t node, double station_mm) const;
  void tabulate_spline(const std::vector<Vector2>& points);
  void tabulate_pieces(const std::vector<OutlinePiece>& pieces);
};

}  // namespace rimwright
