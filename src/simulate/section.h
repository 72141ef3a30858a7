// One section of a simulated body: straight lines and arcs, and the order in which they make the seen surface.
//
// The air around a rim is the union of simple regions (above the top, outside the side, beyond the bevel, inside each
// channel step), and each of them holds, with any point, everything further out and up. So along a diagonal the
// surface is a graph: with a = (1, 1)/sqrt 2 pointing to the air and b = (-1, 1)/sqrt 2 pointing in and up, a point is
// u b + h a, and the surface is h(u) = the least of the regions' own h. Nothing here is approximated by a mesh.
#pragma once

#include <cstddef>
#include <limits>
#include <vector>

#include "simulate/body_spec.h"

namespace rimwright {

struct SurfaceLabel {
  BodyFace face = BodyFace::side;
  std::int8_t channel = -1;  // index of the channel, for floor, wall and fillet
  std::int8_t step = -1;     // index of the step, from the outside in
  friend bool operator==(const SurfaceLabel&, const SurfaceLabel&) = default;
};

[[nodiscard]] inline Vector2 uh_from_out_up(const Vector2& p) {
  constexpr double r = 0.70710678118654752440;
  return {r * (p.y() - p.x()), r * (p.x() + p.y())};
}
[[nodiscard]] inline Vector2 out_up_from_uh(const Vector2& q) {
  constexpr double r = 0.70710678118654752440;
  return {r * (q.y() - q.x()), r * (q.x() + q.y())};
}

// A raised-cosine bump (or the parabola of a crown) on a face, as a function of t, the distance along the face.
struct FaceBump {
  bool parabola = false;
  double centre_mm = 0.0;
  double half_width_mm = 1.0;
  double height_mm = 0.0;  // towards the air
  [[nodiscard]] double at(double t_mm) const;
};

// A line or an arc of the section, in (u, h), over a range of u, possibly with bumps along its normal.
struct SectionCurve {
  bool active = false;
  SurfaceLabel label;
  bool is_arc = false;
  Vector2 origin = Vector2::Zero();  // of t: on the curve
  Vector2 along = Vector2::Zero();   // unit; direction of growing t at the origin
  Vector2 normal = Vector2::Zero();  // unit; towards the air at the origin (line)
  Vector2 centre = Vector2::Zero();  // of the arc
  double radius = 0.0;
  double arc_side = 1.0;  // +1: the upper half (air outside the circle); -1: the lower half (air inside)
  double u_from = -std::numeric_limits<double>::infinity();
  double u_to = std::numeric_limits<double>::infinity();
  std::vector<FaceBump> bumps;

  [[nodiscard]] bool covers(double u) const { return active && u >= u_from && u <= u_to; }
  [[nodiscard]] double height(double u) const;          // h on the curve; meaningful where covers(u)
  [[nodiscard]] double slope(double u) const;           // dh/du
  [[nodiscard]] double distance_along(double u) const;  // t of the point above u (before bumps)
  [[nodiscard]] double departure(double t) const;       // sum of bumps
  void set_line(const Vector2& through_uh, const Vector2& along_uh);
  // Curve on a circle; t runs from origin_uh in the sense of along_uh.
  void set_arc(const Vector2& centre_uh, double radius_mm, double side, const Vector2& origin_uh,
               const Vector2& along_uh);

 private:
  [[nodiscard]] double base_height(double u) const;
  [[nodiscard]] double base_distance(double u) const;
};

// A seen stretch of one curve, from the side's end (low u) to the top's end.
struct SectionPiece {
  SurfaceLabel label;
  std::size_t curve = 0;  // index into Section::curves
  double u_from = 0.0, u_to = 0.0;
};

struct Section {
  double station_mm = 0.0;
  Vector2 position_mm, along, out;  // of the outline, in plan
  double curvature_per_mm = 0.0;

  Vector2 corner = Vector2::Zero();  // rim corner in (out, up)
  Vector2 down = Vector2::Zero();    // unit, along the side, away from the corner
  Vector2 inward = Vector2::Zero();  // unit, along the top at the corner, into the body
  bool has_bevel = false;
  Vector2 lower_edge = Vector2::Zero();  // bevel line meets side, faces extended, before bumps
  Vector2 upper_edge = Vector2::Zero();  // bevel line meets top
  double angle_rad = 0.0;
  double drop_mm = 0.0;
  double top_reach_mm = 0.0;    // along the top (arc length where domed)
  double face_offset_mm = 0.0;  // how far waves push the bevel line along its normal
  // Widths and depths as cut at this station (0 where the step is absent), by channel and step.
  std::vector<std::vector<StepSpec>> steps;

  double u_from = 0.0, u_to = 0.0;  // ends of the modelled surface
  // Fixed places: side, top, bevel, then floor, fillet and wall of every step of every channel.
  std::vector<SectionCurve> curves;

  // Height of the seen surface above u, and which curve it is on.
  [[nodiscard]] double height(double u, std::size_t* curve = nullptr) const;
  // The seen surface as pieces in order; neighbouring pieces share their end.
  [[nodiscard]] std::vector<SectionPiece> pieces() const;
  [[nodiscard]] Vector2 out_up(double u, std::size_t curve) const {
    return out_up_from_uh({u, curves[curve].height(u)});
  }
  // Body coordinates: x, y in plan, z up.
  [[nodiscard]] Vector3 to_body(const Vector2& out_up_mm) const {
    const Vector2 plan = position_mm + out_up_mm.x() * out;
    return {plan.x(), plan.y(), out_up_mm.y()};
  }
};

}  // namespace rimwright
