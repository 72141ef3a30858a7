// Unroll: every point near the rim gets (station, out, up); points are sorted by station once.
#pragma once

#include <cstdint>
#include <span>
#include <vector>

#include "core/cloud.h"
#include "core/parallel.h"
#include "rim/orient.h"
#include "rim/rim_curve.h"

namespace rimwright {

struct UnrollSettings {
  double inside_mm = 60.0;   // in along the top: bevel reach, channels and 20 mm of reference face
  double outside_mm = 12.0;  // a side that leans outward, and noise
  double below_mm = 65.0;    // down the side, likewise
  double above_mm = 8.0;
  double slice_mm = 0.5;  // the smallest step of stations that sections are built from
};

// Points in rim coordinates, sorted by slice: slice k holds stations [k, k + 1) * slice_mm.
struct UnrolledRim {
  RimCurve curve;
  Transform T_body_scan;  // from scan millimetres relative to Cloud::origin_mm
  TopSurface top;
  std::vector<float> station_mm, out_mm, up_mm;  // up from the top's height at the rim station
  std::vector<float> sigma_mm;                   // empty, or one a point
  std::vector<std::size_t> slice_begin;          // slice_count() + 1 entries
  double slice_mm = 0.5;

  [[nodiscard]] std::size_t slice_count() const { return slice_begin.empty() ? 0 : slice_begin.size() - 1; }
  // Height of the top over the body's plane at the rim, and the way back to the scan (without Cloud::origin_mm).
  [[nodiscard]] double rim_height_mm(double station) const;
  [[nodiscard]] Vector3 scan_point_mm(double station, double out, double up) const;
};

[[nodiscard]] UnrolledRim unroll(const Cloud& cloud, const Orientation& orientation, const RimCurve& curve,
                                 const UnrollSettings& settings, Workers& workers);

}  // namespace rimwright
