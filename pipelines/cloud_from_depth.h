// The chain from a depth capture to a cloud: read it, learn the camera's noise, bring the frames together, keep the
// points near the rim with what each is worth, and take the scale from the printed target where colour shows it.
#pragma once

#include <filesystem>

#include "capture/depth/capture_verdict.h"
#include "capture/depth/fuse_frames.h"
#include "capture/depth/read_depth_capture.h"
#include "capture/depth/scale_from_target.h"

namespace rimwright {

struct DepthSettings {
  ReadDepthSettings read;
  PatchSettings patches;
  AlignSettings align;
  DepthRimZoneSettings zone;
  FuseSettings fuse;
  TargetScaleSettings target;  // set target.bar_mm from --bar
  VerdictSettings verdict;
};

// The scan frame is that of the given poses, or the first image's camera frame; the capture's verdict is in the cloud's
// notes. Refusals are those of the stages, which see.
[[nodiscard]] Outcome<Cloud> cloud_from_depth(const std::filesystem::path& folder, const DepthSettings& settings,
                                              Workers& workers);

}  // namespace rimwright
