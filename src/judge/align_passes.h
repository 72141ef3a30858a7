// Brings two passes of one instrument into one frame by the faces nobody touched: the top and the side away from the
// work. The bevel and the channels take no part, so wood taken off cannot pull the alignment.
//
// First the rim curves: every shift of one along the other, best rigid fit of each (Kabsch 1976; Umeyama 1991). Then
// point to plane (Chen and Medioni 1992) on small patches of the untouched faces, robustly (Tukey's biweight), with the
// relative scale of the two scans as a seventh unknown held by what both claim of their scale. The covariance is that
// of the weighted fit, widened where whole stretches of rim disagree with it (cluster-robust, Liang and Zeger 1986).
#pragma once

#include <Eigen/Core>
#include <cstddef>
#include <string>
#include <vector>

#include "judge/pass.h"

namespace rimwright {

struct AlignPassesSettings {
  double away_from_work_mm = 4.0;     // untouched means this far from any bevel, floor or wall point of either pass
  double patch_mm = 3.0;              // size of the patches compared; small against the curvature of a side
  double patch_radius_mm = 2.5;       // of the points a patch's plane is fitted to
  double capture_range_mm = 4.0;      // how far apart patches may start; shrinks as the fit settles
  double rim_step_mm = 4.0;           // of the search along the rim
  double stretch_mm = 25.0;           // of rim, whose patches may err together
  std::size_t fewest_patches = 60;    // on top and side together; fewer cannot fix seven unknowns safely
  double least_overlap = 0.4;         // share of the smaller pass's patches that must find their counterpart
  double most_disagreement_mm = 0.6;  // of the untouched faces after alignment, beyond what noise explains
};

// Rows and columns: rotation vector (rad, about the pivot, before frame), shift (mm), logarithm of relative scale.
using AlignmentCovariance = Eigen::Matrix<double, 7, 7>;

struct PassAlignment {
  Transform T_before_after = Transform::Identity();
  double scale = 1.0;  // p_before = T_before_after * (scale * p_after)
  Vector3 pivot_before_mm = Vector3::Zero();
  AlignmentCovariance covariance = AlignmentCovariance::Zero();
  std::size_t patches = 0;       // used
  double rms_mm = 0.0;           // of the untouched faces, after alignment, robust
  double noise_factor = 1.0;     // how much more the untouched faces disagree than the passes' noise explains; >= 1
  double shared_noise_mm = 0.0;  // the part of a patch's disagreement that its noise does not explain

  [[nodiscard]] Vector3 to_before(const Vector3& p_after) const { return T_before_after * (scale * p_after); }
  [[nodiscard]] Vector3 direction_to_before(const Vector3& d_after) const { return T_before_after.linear() * d_after; }

  // Standard uncertainty, from the alignment alone, of a distance along the unit direction at a place (before frame).
  [[nodiscard]] double u_along_mm(const Vector3& at_before_mm, const Vector3& direction) const;
};

// Refused when a pass has no faces, when the untouched faces do not overlap enough, or when they disagree by more than
// two scans of one instrument would.
[[nodiscard]] Outcome<PassAlignment> align_passes(const Pass& before, const Pass& after,
                                                  const AlignPassesSettings& settings = {});

}  // namespace rimwright
