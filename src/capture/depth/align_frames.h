// Brings the frames of a depth capture into one frame.
//
// 1. Each frame in turn is laid on the growing model, point to plane (Chen and Medioni, IVC 10, 1992), from a steady
//    hand's prediction or from the poses given. Places seen before are met again as model, so a pass that returns
//    closes on itself.
// 2. All poses and all small planes of the model are then adjusted together (refine_poses.h).
//
// The scan frame is that of the given poses, or the first frame's camera frame.
#pragma once

#include <cstddef>
#include <string>
#include <vector>

#include "capture/depth/depth_capture.h"
#include "capture/depth/depth_noise.h"
#include "capture/depth/depth_patches.h"
#include "core/parallel.h"
#include "core/refusal.h"

namespace rimwright {

struct AlignSettings {
  double cell_mm = 5.0;               // of the model: a rim of 70 mm radius bows 0.04 mm in it
  double first_gate_mm = 10.0;        // farthest patch from its plane at the first step: a hand moves 300 mm/s at 30 Hz
  double narrowest_gate_mm = 0.5;     // at the last step: what a hand's unsteadiness may slide unseen
  std::size_t most_steps = 25;        // of one frame; it has usually settled after 8
  double least_matched_share = 0.35;  // of a frame's patches, or the frame is left out
  std::size_t fewest_matched = 100;   // patches likewise
  double doubtful_share = 0.2;        // of frames left out, from which the poses given are doubted
  std::size_t most_joint_frames = 240;  // adjusted together (memory grows with the square); others follow the model
  std::size_t most_joint_steps = 16;
  std::size_t regrouping_steps = 6;  // of them, in which patches may still change to another plane

  double settled_mm = 0.002;    // the joint adjustment stops when no pose moves farther than this
  double settled_share = 0.02;  // or than this share of the noise
};

struct FramePose {
  bool aligned = false;
  Transform T_scan_camera = Transform::Identity();
  double rms_mm = 0.0;         // of the patches about the model's planes
  double matched_share = 0.0;  // of the frame's patches
};

struct Alignment {
  std::vector<FramePose> frames;  // one for each frame of the capture
  std::size_t frames_left_out = 0;
  double drift_mm = 0.0;      // largest move of a frame's view centre in the joint adjustment: drift found and removed
  double bias_mm = 0.0;       // error shared by a patch beyond its pixels' noise: warp and swing of single frames
  double weakest_u_mm = 0.0;  // standard uncertainty of the least certain frame's view centre, from the adjustment
  std::size_t joint_steps = 0;
  bool settled = false;
  std::vector<std::string> notes;
};

// Refuses with capture_insufficient when fewer than two frames or less than half of them can be aligned. Independent
// of the number of threads.
[[nodiscard]] Outcome<Alignment> align_frames(const DepthCapture& capture,
                                              const std::vector<std::vector<DepthPatch>>& patches,
                                              const DepthNoise& noise, const AlignSettings& settings, Workers& workers);

}  // namespace rimwright
