// One face at one station: least squares over a window of slices, with the covariance of what it yields.
#pragma once

#include <cstddef>
#include <optional>
#include <span>

#include "measure/face_moments.h"
#include "measure/fit_faces.h"

namespace rimwright {

// What is known of a slope across before any point is seen.
struct KnownSlope {
  double slope = 0.0;
  double freedom = 0.02;   // standard deviation of the slope about that
  double noise_mm = 0.01;  // of a point, against which the knowledge is weighed
};

// What is known of a face's bend across before any point is seen: none, but for what work by hand leaves.
struct KnownBend {
  double freedom_per_mm = 0.004;  // standard deviation of q
  double noise_mm = 0.01;         // likewise
};

struct WindowModel {
  double fewest_points = 6.0;
  bool bends_across = false;       // the term q (t - t0)^2
  bool may_turn_unevenly = false;  // the term t s^2, where the window is long and full enough for it
  std::optional<KnownSlope> known_slope;
  std::optional<KnownBend> known_bend;  // of a face that bends across
};

// slices[here] is the station's own; slices lie step_mm apart. Not measured where there are too few points, or none at
// or before the station, or none at or after it. Extents (from_t_mm, to_t_mm, margin_mm, window_mm) are the caller's.
[[nodiscard]] FaceFit fit_window(std::span<const SliceMoments> slices, std::size_t here, double step_mm,
                                 const WindowModel& model);

}  // namespace rimwright
