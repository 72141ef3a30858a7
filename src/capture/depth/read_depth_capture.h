// Reads a depth-capture folder. Two open layouts:
//
//   plain   depth/*.png (16 bit, one channel, sorted by name), optional color/, intrinsic.json (the pinhole layout of
//           Open3D: width, height, column-major intrinsic_matrix), capture.json {"depth_scale": counts a metre, 1000
//           when absent}, optional trajectory.log (Open3D: one line of three numbers, then a 4 x 4 camera-to-world
//           matrix, metres, for each frame)
//   TUM     associations.txt or depth.txt (time and file; Sturm et al., IROS 2012), optional groundtruth.txt or
//           trajectory.txt (time tx ty tz qx qy qz qw, metres), 5000 counts a metre unless capture.json says
//           otherwise; intrinsic.json as above
//
// Refuses, naming the file: no intrinsics, sizes that disagree, images that are not 16-bit depth, poses that are not
// rigid or do not match the frames, poses or frames in mixed units, nothing but zeros, fewer than two frames, and
// anything over the limits, which are checked before memory is taken.
#pragma once

#include <cstddef>
#include <cstdint>
#include <filesystem>

#include "capture/depth/depth_capture.h"
#include "core/refusal.h"

namespace rimwright {

struct ReadDepthSettings {
  std::size_t most_frames = 2000;             // a long hand-held pass at 30 a second for a minute
  std::uint64_t most_pixels = 600'000'000;    // all frames together; two bytes each, so 1.2 GB
  std::uintmax_t most_text_bytes = 16 << 20;  // any one text file
  double association_gap_s = 0.02;            // TUM's own tool associates within 0.02 s
  double rigid_tolerance = 1e-3;              // largest entry of R'R - 1; text files keep at least four digits
};

// Whether the folder looks like a depth capture (as against a folder of photos).
[[nodiscard]] bool is_depth_capture(const std::filesystem::path& folder);

[[nodiscard]] Outcome<DepthCapture> read_depth_capture(const std::filesystem::path& folder,
                                                       const ReadDepthSettings& settings = {});

}  // namespace rimwright
