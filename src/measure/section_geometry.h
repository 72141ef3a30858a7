// The geometry of one section, from fitted lines: corner, edges, lengths along faces, angles; and how the lines'
// uncertainty passes to any of them (GUM 5.1.2, sensitivities by central differences).
#pragma once

#include <functional>
#include <optional>

#include "core/measured.h"
#include "measure/fit_faces.h"
#include "measure/noise_model.h"

namespace rimwright {

// A straight line p = t along + (a + b (t - t0)) normal in (out, up).
struct SectionLine {
  Vector2 along = Vector2::UnitY(), normal = Vector2::UnitX();
  double from_upright_rad = 0.0;
  double t0_mm = 0.0, a_mm = 0.0, b = 0.0;
  [[nodiscard]] Vector2 point(double t_mm) const { return t_mm * along + (a_mm + b * (t_mm - t0_mm)) * normal; }
  [[nodiscard]] Vector2 direction() const { return (along + b * normal).normalized(); }
  [[nodiscard]] double angle_rad() const {
    return from_upright_rad - std::atan(b);
  }  // from the upright, towards the inside
};

// The quadric top in the section plus the local departure from it.
struct SectionTop {
  double rise = 0.0, bend = 0.0;  // first and second derivative of height against out, at the rim
  TopBend bend_doubt;
  Vector2 out_in_plan = Vector2::UnitX();
  double t0_mm = 0.0, a_mm = 0.0, b = 0.0;
  [[nodiscard]] double up(double out_mm) const {
    return rise * out_mm + 0.5 * bend * out_mm * out_mm + a_mm + b * (-out_mm - t0_mm);
  }
  [[nodiscard]] double slope(double out_mm) const { return rise + bend * out_mm - b; }
};

// The faces a quantity may depend on. `extra` is the floor or wall in question.
struct SectionFaces {
  SectionLine side, bevel, extra;
  SectionLine lower_strip, upper_strip;  // of the bevel, beside its edges
  SectionTop top;
};

// The face's line in the section across the fair rim, when the fit's own section is turned from it. A point at `out`
// lies tan(turn) out / (1 + curvature out) further along the rim there, where the face may have moved, bent and turned,
// and `up` counts from the top's height there. top_of: the same of the top.
[[nodiscard]] SectionLine line_of(const FaceFits& face, const FaceFit& fit, const SectionTurn& turn = {});
[[nodiscard]] SectionTop top_of(const UnrolledRim& rim, double station_mm, const FaceFit* fit,
                                const SectionTurn& turn = {});

[[nodiscard]] Vector2 rim_corner(const SectionFaces& faces);                 // side and top
[[nodiscard]] std::optional<Vector2> lower_edge(const SectionFaces& faces);  // bevel and side
[[nodiscard]] std::optional<Vector2> upper_edge(const SectionFaces& faces);  // bevel and top
[[nodiscard]] double bevel_angle_rad(const SectionFaces& faces);             // inside the wood
[[nodiscard]] double length_down_side(const SectionFaces& faces, const Vector2& from, const Vector2& to);
[[nodiscard]] double length_along_top(const SectionFaces& faces, const Vector2& from, const Vector2& to);  // inwards

// The fits behind SectionFaces; null where the quantity does not depend on that face.
struct SectionFits {
  const FaceFit *side = nullptr, *bevel = nullptr, *top = nullptr, *extra = nullptr;
  std::optional<FaceFit> lower_strip, upper_strip;  // tangents at the edges
};

using SectionQuantity = std::function<double(const SectionFaces&)>;

// Standard uncertainty from the bend of the top, which carries it from where it is seen to the rim corner. Its
// departure from the quadric has been fitted with that bend: with another one it would have been shifted and tilted so
// that the least-squares line through the same points stays.
[[nodiscard]] double u_of_top_bend(const SectionQuantity& quantity, const SectionFaces& faces, const FaceFit& fit,
                                   const NoiseModel& noise);

// Value and budget: noise of the bevel or extra face -> point_noise, of side and top (with u_of_top_bend) ->
// reference_faces, shared error of all -> correlated. `factor` brings the unit of the result (for angles, radians to
// degrees).
[[nodiscard]] Measured propagate(const SectionQuantity& quantity, const SectionFaces& faces, const SectionFits& fits,
                                 const NoiseModel& noise, double factor = 1.0);

}  // namespace rimwright
