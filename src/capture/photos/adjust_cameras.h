// Bundle adjustment with self-calibration: lens numbers, poses, drifts and points together (Ceres).
// Brown's self-calibrating bundle, see Luhmann et al., Close-Range Photogrammetry and 3D Imaging, ch. 4.
#pragma once

#include "capture/photos/camera.h"
#include "core/refusal.h"

namespace rimwright {

struct AdjustCamerasSettings {
  double target_sigma_px = 0.05;       // a board corner's, before residuals are known
  double tie_sigma_px = 0.3;           // a tie point's, before residuals are known
  double focal_drift_sigma = 0.002;    // share of the focal length; phones refocus for each photo
  double centre_drift_sigma_px = 3.0;  // stabilised sensors move by a few pixels, at 4000 pixels of width
  double focal_prior_share = 0.15;     // how far the EXIF focal length may be off
  double distortion_prior = 0.3;       // k1 and k2 of phone lenses stay well below this
  double cut_at_sigmas = 4.0;          // of the robust spread of each group; farther sightings are dropped
  int rounds = 4;                      // of adjusting, weighing anew, and dropping
  bool drifts_free = true;             // per-photo focal length and centre; needs tie points as well as the board
};

struct AdjustReport {
  double target_rms_px = 0.0, tie_rms_px = 0.0;      // of one coordinate, after dropping
  double target_sigma_px = 0.0, tie_sigma_px = 0.0;  // robust spread
  std::size_t target_sightings = 0, tie_sightings = 0;
  std::size_t dropped = 0;
  bool converged = false;
  std::vector<double> photo_rms_px;  // by photo, all its sightings
};

// Changes the network in place; drops sightings beyond the cut, and tie points seen in fewer than 2 photos then.
// Refuses (capture_insufficient) when the solver finds no usable solution. Photos that are not placed are ignored.
[[nodiscard]] Outcome<AdjustReport> adjust_cameras(CameraNetwork& network, const AdjustCamerasSettings& settings);

}  // namespace rimwright
