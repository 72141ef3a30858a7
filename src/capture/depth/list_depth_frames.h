// Which files make up a depth capture: the images of the depth folder in order, or those that the text lists of the TUM
// RGB-D layout name, each with its colour image and its time where there is one.
#pragma once

#include <filesystem>
#include <optional>
#include <string>
#include <vector>

#include "capture/depth/read_depth_capture.h"
#include "core/refusal.h"

namespace rimwright {

struct FrameFiles {
  std::string name;  // for people
  std::filesystem::path depth, colour;
  std::optional<double> time_s;  // of the depth image
};

// Whether the folder holds lists of the TUM layout: an association file or depth.txt.
[[nodiscard]] bool has_tum_lists(const std::filesystem::path& folder);

// Refuses lists that cannot be read, that name files outside the folder, and colour images that do not pair.
[[nodiscard]] Outcome<std::vector<FrameFiles>> list_depth_frames(const std::filesystem::path& folder,
                                                                 const ReadDepthSettings& settings);

}  // namespace rimwright
