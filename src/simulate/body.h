// A simulated body: the exact surface of a rim with its bevel, channels and defects.
//
// The body is a sweep: at each station the section square to the rim in plan is known in closed form (section.h).
// Body frame: millimetres, x and y in plan, z up, the top's highest point at z = 0. A left-handed body is the mirror
// image x -> -x; stations keep running along the same, mirrored, curve.
#pragma once

#include <algorithm>

#include "core/refusal.h"
#include "simulate/outline.h"
#include "simulate/section.h"

namespace rimwright {

class Body {
 public:
  // Refuses (plan_not_valid) what cannot be built: sizes out of range, stations off the rim, a sweep that folds over
  // itself, bumps too steep to stay a surface seen from outside.
  [[nodiscard]] static Outcome<Body> from(const BodySpec& spec);

  [[nodiscard]] const BodySpec& spec() const { return spec_; }
  [[nodiscard]] double rim_length_mm() const { return outline_.length_mm(); }
  [[nodiscard]] bool closed() const { return outline_.closed(); }
  [[nodiscard]] OutlinePoint outline_at(double station_mm) const { return outline_.at(station_mm); }

  // The section at a station. top_inward_mm and side_down_mm limit the modelled surface (0 = as in the spec).
  [[nodiscard]] Section section(double station_mm, double top_inward_mm = 0.0, double side_down_mm = 0.0) const;

  // Height of the top at a place in plan (before mirroring).
  [[nodiscard]] double top_height_mm(const Vector2& plan_mm) const;

  // Body coordinates of a point of a section, mirrored if the body is left-handed.
  [[nodiscard]] Vector3 point(const Section& section, const Vector2& out_up_mm) const {
    return mirrored(section.to_body(out_up_mm));
  }
  [[nodiscard]] Vector3 mirrored(Vector3 p) const {
    if (spec_.left_handed) p.x() = -p.x();
    return p;
  }

  // How far a station lies inside a stretch, from its nearer end; negative outside. Wraps on closed outlines.
  [[nodiscard]] double inside_mm(double station_mm, double from_mm, double to_mm) const;
  // The station on the rim: wrapped when closed, held at the ends when open.
  [[nodiscard]] double wrapped(double station_mm) const {
    return closed() ? past_mm(station_mm, 0.0) : std::clamp(station_mm, 0.0, rim_length_mm());
  }
  // From the stretch's start, wrapped on closed outlines.
  [[nodiscard]] double past_mm(double station_mm, double from_mm) const;

  // The intended drop at a station (run-outs included, defects not); 0 where no bevel is meant.
  [[nodiscard]] double intended_drop_mm(double station_mm) const;

 private:
  Body(BodySpec spec, Outline outline) : spec_(std::move(spec)), outline_(std::move(outline)) {}
  void place_top_and_side(Section& section) const;
  void place_bevel(Section& section) const;
  void place_channels(Section& section) const;
  void place_bumps(Section& section) const;
  [[nodiscard]] double stretch_weight(const DefectSpec& defect, double station_mm) const;

  BodySpec spec_;
  Outline outline_;
};

}  // namespace rimwright
