// Fit: each named face at each station, from its raw points, as a line in the section with its covariance.
//
// In a window of the rim about the station the face is y = a + b t + c s + d s^2 + e t s (the bevel also + f t s^2): a
// straight line across, free to shift, bend and turn along the rim, so that run-outs and curved rims leave no bias.
// Points are chosen by their place along the profile, clear of the edges, never by the sign of their residual. Outliers
// are cut at a multiple of the local noise (robust start from the segmentation, then refit).
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
  double longest_window_mm = 12.0;  // windows of side, top and bevel grow towards it where the scan is noisy or thin
  double wanted_slope_u = 0.004;    // radians: until the slope across is as sure as this
  double ledge_window_mm = 2.5;     // half length for floors and walls: a defect's ends stay within 4 mm
  double longest_ledge_window_mm = 4.0;
  double ledge_points = 60.0;              // the ledge window grows towards its longest until it holds so many,
  double noise_of_ledge_points_mm = 0.04;  // where points are this noisy; finer ones say as much with fewer,
  double fewest_ledge_points = 12.0;       // but not with fewer than this
  double side_depth_mm = 40.0;             // of the side below the bevel or channel
  double top_depth_mm = 25.0;              // of the top inside of them
  double narrowest_bend_mm = 3.0;          // a strip narrower than this is taken as straight
  // Standard deviation of a strip's bend q before it is seen, 1/mm: a face that just holds the usual straightness of
  // 0.2 mm has 0.004 over 14 mm. It keeps a narrow or noisy strip from bending with its noise.
  double usual_bend_per_mm = 0.004;
  double edge_strip_mm = 14.0;   // of the bevel beside each of its edges, from which the edge itself is extended
  double short_strip_mm = 5.0;   // the same where the longer strip's parabola does not follow the face (a hump)
  double edge_margin_mm = 0.35;  // kept clear of every edge, plus noise_in_margin times the noise
  double face_margin_mm = 0.4;   // the same for side, top and bevel, whose edges get rounded in sanding: a radius of
                                 // 0.75 mm takes so much of either face at 56 degrees
  double noise_in_margin = 1.5;
  double longest_say_mm = 10.0;  // how far along the rim neighbours have a say in where a face ends, in a noisy scan
  double noise_of_longest_say_mm = 0.3;  // noise from which they have it that far; in proportion down to the first
  double noise_of_first_say_mm = 0.1;    // a scan finer than this shows the ends well enough by itself
  double share_of_shorter = 0.25;        // the quarter of the answers that make the face shortest decide
  double outlier_sigmas = 4.5;
  double ledge_outlier_sigmas = 3.5;    // closer: the next wall's points are near
  double narrowest_ledge_sigmas = 6.0;  // a floor or wall narrower than this many noise widths cannot be told apart
  double fewest_points = 6.0;
  double points_a_slice =
      100.0;  // of a very dense scan, in the rounds that only set lines and gates; the last takes all
  double ledge_slope_freedom = 0.02;  // floors lie parallel to their face and walls square to it, within about a degree
};

// A face's line in the section at one station: p = t along + (a + b (t - t0)) normal, mm, (out, up) about the rim
// curve.
struct FaceFit {
  bool measured = false;
  double t0_mm = 0.0, from_t_mm = 0.0, to_t_mm = 0.0;  // middle and ends of what the fit uses at this station
  double margin_mm = 0.0;                              // the face goes on so far beyond both ends
  double a_mm = 0.0, b = 0.0;
  double variance_a = 0.0, variance_b = 0.0, covariance_ab = 0.0;
  double noise_mm = 0.0;         // standard deviation of the points about the fit, square to the face
  double step_noise_mm = 0.0;    // the same from point to next point, which the face's form does not enter
  double stated_sigma_mm = 1.0;  // what the scan says of these points; 1 where it says nothing
  double degrees_of_freedom = 0.0;
  double points = 0.0, rejected = 0.0;         // rejected: beyond the gate, but within about 1 mm of it
  double window_mm = 0.0;                      // half length along the rim
  double shift_along = 0.0;                    // c: movement of the face per millimetre of rim
  double bend_along = 0.0, twist_along = 0.0;  // d and e of the model
  double form_u_mm = 0.0;   // strips only: standard uncertainty of a at the edge from the face's own form
  double bend_share = 0.0;  // how far the bend across follows the points: 0 straight, 1 freely
  // Strips only: bend across, y = a + b (t - t0) + q (t - t0)^2, with its variances.
  double q = 0.0, variance_q = 0.0, covariance_aq = 0.0, covariance_bq = 0.0;
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

// Which part of the bevel a fit takes: all of it, or the strip beside one edge (a crowned face meets its neighbours
// where the strip says, not where the straight line through all of it does).

enum class FacePart { whole, lower_strip, upper_strip, lower_short, upper_short };

// A side that waves turns the traced rim, and with it the section its points were fitted in, from across the fair rim.
struct SectionTurn {
  double rad = 0.0, u_rad = 0.0;  // FairRim::turn_rad, turn_u_rad
  double curvature_per_mm = 0.0;  // of the rim there: stations lie closer together inside a bend
  double rise_along = 0.0;        // of the top at the rim, along it
};

struct FittedRim {
  std::vector<double> station_mm;
  std::vector<FaceFits> faces;        // in the order of the tracks
  FaceFits lower_strip, upper_strip;  // of the bevel; empty without one
  std::vector<SectionTurn> turns;     // by station; empty: by nothing
  double usual_bend_per_mm = FitSettings{}.usual_bend_per_mm;
  [[nodiscard]] SectionTurn turn_at(std::size_t station) const {
    return turns.empty() ? SectionTurn{} : turns[station];
  }
  [[nodiscard]] const FaceFits* find(FaceName name, std::size_t channel = 0, std::size_t step = 0) const;
};

// The top's line leaves the fitted quadric: a and b are departures from it (t from the rim corner inwards), so that
// extending it to the rim follows the dome.
[[nodiscard]] FittedRim fit_faces(const UnrolledRim& rim, const FaceTracks& tracks, double noise_mm, double lean_rad,
                                  const FitSettings& settings, Workers& workers);

}  // namespace rimwright
