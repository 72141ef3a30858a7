// The one thing every capture yields: points in millimetres, and how far they can be trusted.
#pragma once

#include <array>
#include <cstddef>
#include <cstdint>
#include <string>
#include <vector>

#include "core/frames.h"
#include "core/plain_array.h"

namespace rimwright {

// Where the scale comes from and how sure it is. The relative standard uncertainty is common to every length in
// the cloud, so it never averages out.
struct Scale {
  double factor = 1.0;                // millimetres per unit of the scan as given
  double relative_standard_u = 0.0;   // dimensionless; 0.005 = half a percent
  std::string source = "not stated";  // for people: "units given as mm", "target, bar measured 99.6 mm"
};

// How a capture errs beyond independent point noise. Zero means 'not known to the capture'; the measuring stages
// then rely on what the residuals of smooth faces show.
struct CaptureError {
  double correlated_sigma_mm = 0.0;    // standard deviation of error shared by neighbouring points
  double correlation_length_mm = 0.0;  // distance over which that error stays alike
  // A slow warp of everything, far longer than what is measured, which no scan shows by itself: standard deviation of
  // each component of the displacement, and the distance over which it stays alike (exp(-h^2 / (2 L^2))).
  double warp_mm = 0.0;
  double warp_length_mm = 0.0;
};

// What the reader met and did. Counts are points of the file.
struct ReadingCounts {
  std::uint64_t points_in_file = 0;
  std::uint64_t not_finite = 0;
  std::uint64_t duplicates = 0;
  std::uint64_t far_outliers = 0;
  std::uint64_t sampled_from_faces = 0;
};

// Which way the surface faces at a point, as the file tells it.
struct PointNormal {
  std::uint32_t point = 0;                    // of the cloud
  std::array<std::int8_t, 3> times_127 = {};  // the unit normal, times 127; zero: not known
};

// Point i is origin_mm + (x[i], y[i], z[i]) in the scan frame, millimetres. The offsets are floats about a local
// origin, so that a body far from the scanner's own origin loses nothing (float keeps 0.03 um at 0.5 m).
// The optional arrays are empty or hold one entry a point; normals are those of some points, as few tell which side the
// air is on. Points are in the order of the file.
struct Cloud {
  Vector3 origin_mm = Vector3::Zero();
  PlainArray<float> x, y, z;
  PlainArray<float> sigma_mm;                       // standard deviation of each point along its normal
  std::vector<PointNormal> normals;                 // by ascending point; towards the air when the file says so
  PlainArray<std::array<std::uint8_t, 3>> colours;  // red, green, blue
  Scale scale;
  CaptureError capture_error;
  ReadingCounts counts;
  std::vector<std::string> notes;  // what a reader of the report should know about this capture, a sentence each

  [[nodiscard]] std::size_t size() const { return x.size(); }
  [[nodiscard]] Vector3 point_mm(std::size_t i) const { return origin_mm + Vector3(x[i], y[i], z[i]); }
};

}  // namespace rimwright
