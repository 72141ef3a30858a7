// Fit: each named face at each station, from its raw points, as a line in the section with its covariance.
//
// In a window of the rim about the station the face is y = a + b t + c s + d s^2 + e t s: a straight line across,
// free to shift, bend and turn along the rim, so that run-outs and curved rims leave no bias. Points are chosen by
// their place along the profile, clear of the edges, never by the sign of their residual. Outliers are cut at a
// multiple of the local noise (robust start from the segmentation, then refit).
#pragma once

#include <limits>
#include <vector>

#include "core/parallel.h"
#include "measure/name_faces.h"

namespace rimwright {

struct FitSettings {
  double station_step_mm = 1.0;
  double reference_window_mm = 6.0;  // half length along the rim for side and top
  double bevel_window_mm = 4.0;
  double ledge_window_mm = 2.5;  // half length for floors and walls: a defect's ends stay within 4 mm
  double longest_ledge_window_mm = 4.0;
  double ledge_points = 60.0;    // the ledge window grows towards its longest until it holds so many
  double side_depth_mm = 40.0;   // of the side below the bevel or channel
  double top_depth_mm = 25.0;    // of the top inside of them
  double edge_margin_mm = 0.35;  // kept clear of every edge, plus noise_in_margin times the noise
  double face_margin_mm = 0.8;   // the same for side, top and bevel, whose edges get rounded in sanding
  double noise_in_margin = 1.5;
  double outlier_sigmas = 4.5;
  double fewest_points = 12.0;
};

// A face's line in the section at one station: p = t along + (a + b (t - t0)) normal, mm, (out, up) about the rim
// curve.
struct FaceFit {
  bool measured = false;
  double t0_mm = 0.0, from_t_mm = 0.0, to_t_mm = 0.0;  // middle and ends of what the face shows at this station
  double a_mm = 0.0, b = 0.0;
  double variance_a = 0.0, variance_b = 0.0, covariance_ab = 0.0;
  double noise_mm = 0.0;  // standard deviation of the points about the fit
  double degrees_of_freedom = 0.0;
  double points = 0.0, rejected = 0.0;
  double window_mm = 0.0;    // half length along the rim
  double shift_along = 0.0;  // c: movement of the face per millimetre of rim
};

struct FaceFits {
  const FaceTrack* track = nullptr;
  Vector2 along = Vector2::UnitY(), normal = Vector2::UnitX();  // (out, up); the normal points into the air
  double from_upright_rad = 0.0;                                // of `along`
  std::vector<FaceFit> at;                                      // by station
  [[nodiscard]] Vector2 point(const FaceFit& fit, double t_mm) const {
    return t_mm * along + (fit.a_mm + fit.b * (t_mm - fit.t0_mm)) * normal;
  }
  [[nodiscard]] Vector2 direction(const FaceFit& fit) const { return (along + fit.b * normal).normalized(); }
};

struct FittedRim {
  std::vector<double> station_mm;
  std::vector<FaceFits> faces;  // in the order of the tracks
  [[nodiscard]] const FaceFits* find(FaceName name, std::size_t channel = 0, std::size_t step = 0) const;
};

// The top's line leaves the fitted quadric: a and b are departures from it (t from the rim corner inwards), so that
// extending it to the rim follows the dome.
[[nodiscard]] FittedRim fit_faces(const UnrolledRim& rim, const FaceTracks& tracks, double noise_mm,
                                  const FitSettings& settings, Workers& workers);

}  // namespace rimwright
