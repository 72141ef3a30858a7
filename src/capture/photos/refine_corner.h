// Where a corner of the target's chessboard lies in a photo, to a few hundredths of a pixel.
//
// The grey about a corner is that of two crossing edges, each a step blurred: o + g erf(d1 / s1) erf(d2 / s2) and a
// slope of the light, d1 and d2 the distances from the edges' lines. All ten numbers are fitted to the pixels by least
// squares (Marquardt, J. SIAM 11, 1963). Blur that is alike on both sides of an edge, a tone curve and sharpening leave
// the model wrong, but as wrong when turned by half a turn about the corner, and so do not move it.
#pragma once

#include <optional>

#include "capture/photos/photo_set.h"
#include "capture/scale_target.h"
#include "core/frames.h"

namespace rimwright {

struct RefineCornerSettings {
  double arm_share = 0.25;          // how far along the edges pixels count, of a square's side: lenses bend longer ones
  double clear_of_marker_px = 2.0;  // how far from the markers pixels stay: what their blur reaches
  double farthest_px = 5.0;         // from where the corner was thought to be
  double least_contrast = 15.0;     // grey levels between ink and paper
  double largest_misfit = 0.4;      // rms of the residuals, of that contrast: more is something else
  double largest_u_px = 0.5;        // standard uncertainty of the place along either axis, from the residuals
};

// Where a corner should be, and how board and picture hang together about it.
struct ForetoldCorner {
  Vector2 pixel = Vector2::Zero();
  Eigen::Matrix2d pixel_per_mm = Eigen::Matrix2d::Identity();  // columns: along the board's x and y
};

// Nothing where the corner's surroundings are not all in the photo, or look otherwise.
[[nodiscard]] std::optional<Vector2> refine_corner(const Photo& photo, const ForetoldCorner& foretold,
                                                   const ScaleTarget& target, const RefineCornerSettings& settings);

}  // namespace rimwright
