// Noise: how far points scatter, and how much of that is shared by neighbours and so does not average out.
//
// Judged from the reference faces (top and side), whose form is known to be smooth. The variogram
// g(h) = 1/2 mean (r(x + h) - r(x))^2 of cell means splits white noise (nugget, known from the counts) from
// correlated error (what g gains until about 25 mm). Slower errors bend the faces themselves and are left to the fits.
#pragma once

#include "core/cloud.h"
#include "measure/grid_face.h"

namespace rimwright {

struct NoiseModel {
  double white_sigma_mm = 0.0;  // a point, along the normal
  double correlated_sigma_mm = 0.0;
  double correlation_length_mm = 0.0;  // correlation exp(-h^2 / (2 length^2))
  double stated_sigma_mm = 1.0;        // what the scan says of the same points; 1 where it says nothing
};

[[nodiscard]] NoiseModel estimate_noise(const FaceGrid& side, const FaceGrid& top, const FittedRim& fitted);

// What the points of a fit scatter at most without the face leaving its model: noise as on the reference faces, in the
// ratio in which the scan says it is, or as it is from point to point, whichever is more; and what chance adds to it.
[[nodiscard]] double scatter_by_chance_mm(const NoiseModel& noise, const FaceFit& fit);

// By how much the face leaves the model of its fit (standard deviation, mm); 0 where chance explains the scatter.
[[nodiscard]] double misfit_mm(const NoiseModel& noise, const FaceFit& fit);

// What the capture itself knows of its correlated error, where that is more than the faces show: photos, for instance,
// cover a face too thinly for a variogram, and their camera errors look like form.
[[nodiscard]] NoiseModel with_capture_error(NoiseModel noise, const CaptureError& error);

// Where a face's line or parabola across is read: so many half widths from the middle of its points; and how far the
// parabola follows the points (FaceFit::bend_share).
struct ReadAcross {
  double half_widths = 0.0;
  double bend_share = 0.0;
};

// Variances that correlated error adds to a face's height and slope, read at one place of it, when fitted over a window
// of the rim (half length half_window_mm, parabola along) and a width across: quadrature of the fit's weights against
// the correlation. Read beyond its points, a line or parabola stretches what they share as it stretches their noise.
struct CorrelatedVariance {
  double of_height = 0.0;  // mm^2
  double of_slope = 0.0;   // per mm^2 of lever: (mm/mm)^2
};
[[nodiscard]] CorrelatedVariance correlated_variance(const NoiseModel& noise, double half_window_mm, double width_mm,
                                                     const ReadAcross& read = {});

}  // namespace rimwright
