// A simulated depth capture as a folder: depth/*.png, intrinsic.json and capture.json in the open plain layout, with
// the truth beside it: truth.json and plan.yaml as for a simulated scan (scan frame = the first frame's camera), and in
// truth/ trajectory.log (camera poses in the body frame, metres) and camera.json (what errs, and how).
#pragma once

#include <filesystem>

#include "core/parallel.h"
#include "core/refusal.h"
#include "simulate/body_file.h"
#include "simulate/hand_held_path.h"

namespace rimwright {

struct RecordedCapture {
  std::vector<std::vector<std::uint16_t>> frames;
  std::vector<Transform> T_body_camera;  // truth, at each frame's middle row
};

// Answers depend on the seed, not on the threads.
[[nodiscard]] RecordedCapture record_capture(const Body& body, const HandHeldPath& path, const DepthCamera& camera,
                                             std::uint64_t seed, Workers& workers);

// A pass along the bevel and 40 mm beyond it, or along the first 400 mm of a rim without one.
[[nodiscard]] HandHeldPath path_along_bevel(const Body& body);

// Refuses with output_not_writable. The folder must exist or be creatable; files of the same names are replaced.
[[nodiscard]] Outcome<void> write_capture(const RecordedCapture& capture, const DepthCamera& camera, std::uint64_t seed,
                                          const std::filesystem::path& folder);

// The truth of the body in the capture's scan frame, and its plan.
[[nodiscard]] Outcome<void> write_capture_truth(const RecordedCapture& capture, const Body& body, const BodyFile& file,
                                                std::uint64_t seed, const std::filesystem::path& folder);

}  // namespace rimwright
