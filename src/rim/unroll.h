// Unroll: every point near the rim gets (station, out, up); points are sorted by station once.
#pragma once

#include <cstdint>
#include <limits>
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
  double band_mm = 1.0;   // of the profile: within a slice points lie band by band, so that a face finds its own
  // Of a very dense scan so many points a millimetre of rim are kept of the side below all work, where they only tell
  // how the side lies: at 0.04 mm noise to 0.3 um.
  double deep_points_a_mm = 1500.0;
};

// Points in rim coordinates, sorted by slice and in it by band: slice k holds stations [k, k + 1) * slice_mm, band b of
// it the points whose place along the profile, (up - out) / sqrt 2, lies in first_band_mm + [b, b + 1) * band_mm.
struct UnrolledRim {
  RimCurve curve;
  Transform T_body_scan;  // from scan millimetres relative to Cloud::origin_mm
  TopSurface top;
  TopBend top_bend;
  PlainArray<float> station_mm, out_mm, up_mm;  // up from the top's height at the rim station
  PlainArray<float> sigma_mm;                   // empty, or one a point
  std::vector<std::size_t> slice_begin;         // slice_count() + 1 entries
  std::vector<std::size_t> band_begin;          // slice_count() * band_count + 1 entries
  double slice_mm = 0.5, band_mm = 1.0, first_band_mm = 0.0;
  std::size_t band_count = 1;

  [[nodiscard]] std::size_t slice_count() const { return slice_begin.empty() ? 0 : slice_begin.size() - 1; }
  struct Range {
    std::size_t begin = 0, end = 0;
  };
  // All points of a slice that lie between two places along the profile, and others of the bands at its ends. Every
  // point of the slice for (-infinity, infinity).
  [[nodiscard]] Range points_between(std::size_t slice, double from_along_mm, double to_along_mm) const;
  // Height of the top over the body's plane at the rim, and the way back to the scan (without Cloud::origin_mm).
  [[nodiscard]] double rim_height_mm(double station) const;
  [[nodiscard]] Vector3 scan_point_mm(double station, double out, double up) const;
};

// Where points lie about a rim, for many at once.
class RimPlaces {
 public:
  RimPlaces(const RimCurve& curve, const Orientation& orientation, const UnrollSettings& settings);
  // Points in the scan frame, mm relative to Cloud::origin_mm, and where they are put: NaN where a point lies beyond
  // what the settings reach. Stations beyond the ends of an open curve are told as such. All have the same size.
  void find(std::span<const float> x_mm, std::span<const float> y_mm, std::span<const float> z_mm,
            std::span<float> station_mm, std::span<float> out_mm, std::span<float> up_mm) const;

 private:
  void take_off_top(std::size_t count, const float* station_mm, float* up_mm) const;

  SmoothRimLocator locator_;
  float below_mm_, above_mm_, length_mm_, heights_a_mm_;
  Eigen::Matrix<float, 3, 4> T_body_scan_;
  std::vector<float> heights_mm_;  // of the top at the rim, at the borders of slices
};

// Uses up the cloud's points: their memory holds them on the way. What else the cloud tells stays. Points farther down
// than work_down_mm may be thinned.
[[nodiscard]] UnrolledRim unroll(Cloud& cloud, const Orientation& orientation, const RimCurve& curve,
                                 const UnrollSettings& settings, Workers& workers,
                                 double work_down_mm = std::numeric_limits<double>::infinity());

// When a rim has been measured: gives the memory of its points back, side by side. Of a dense scan that is a hundred
// megabytes, which take the system some milliseconds.
void give_back_points(UnrolledRim& rim, Workers& workers);

}  // namespace rimwright
