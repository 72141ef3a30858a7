// Where the rim runs, from the patches of side and top: a frame every millimetre, good to a few tenths of one.
#pragma once

#include <vector>

#include "capture/photos/refine_patch.h"

namespace rimwright {

struct RimFramesSettings {
  double station_step_mm = 1.0;
  double steep_below_cosine = 0.3;   // of normal and up of the sheet: what is steeper is side
  double level_above_cosine = 0.94;  // and what is flatter top
  double side_reach_mm = 8.0;        // of a station, along the rim, for the side's plane
  double top_reach_mm = 15.0;        // the same for the top's,
  double top_from_mm = 4.0;          // which lies so far in from the side at least,
  double top_to_mm = 60.0;           // and at most
  std::size_t fewest_patches = 12;   // of the side at a station
  double longest_gap_mm = 12.0;      // of side not matched; the walk along the rim goes on straight
  double shortest_run_mm = 25.0;     // of rim; less is something else that stands upright
};

// Sheet frame, mm. The corner is where side and top would meet, or bevel and top, or bevel and side (edge_frames.h).
struct RimFrame {
  Vector3 corner_mm = Vector3::Zero();
  Vector3 along = Vector3::UnitX(), out = Vector3::UnitY(), up = Vector3::UnitZ();
  double side_out_per_up = 0.0;       // lean: the side lies at out = this times up
  double out_curvature_per_mm = 0.0;  // turn of `out` along the run; positive where the work bulges outward,
  double up_curvature_per_mm = 0.0;   // and upward
  double reach_mm = 1e9;              // from the corner, that this frame is good for
};

// Of the side at a frame, outward.
[[nodiscard]] inline Vector3 side_normal(const RimFrame& frame) {
  return (frame.out - frame.side_out_per_up * frame.up).normalized();
}

struct InSection {
  double along_mm = 0.0, out_mm = 0.0, up_mm = 0.0;
};
[[nodiscard]] inline InSection in_section(const RimFrame& frame, const Vector3& at_sheet_mm) {
  const Vector3 d = at_sheet_mm - frame.corner_mm;
  return {d.dot(frame.along), d.dot(frame.out), d.dot(frame.up)};
}

// Curvatures from the turn between stations `reach` apart, each way.
void set_curvature(std::vector<RimFrame>& run, std::size_t reach);

// One run of frames for each stretch of rim that is seen; none where no side is. The fullest side first.
[[nodiscard]] std::vector<std::vector<RimFrame>> rim_frames(const std::vector<Patch>& patches,
                                                            const RimFramesSettings& settings);

}  // namespace rimwright
