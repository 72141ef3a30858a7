// Camera poses from text: Open3D's .log and the trajectory files of the TUM RGB-D layout.
#pragma once

#include <filesystem>
#include <optional>
#include <string>
#include <vector>

#include "core/frames.h"
#include "core/refusal.h"

namespace rimwright {

struct TimedPose {
  double time_s = 0.0;
  Transform T_scan_camera = Transform::Identity();  // translation in millimetres
};

// A line of a TUM list file: time and words that follow.
struct TimedLine {
  double time_s = 0.0;
  std::vector<std::string> words;
};

// The whole of a text file, refused beyond most_bytes.
[[nodiscard]] Outcome<std::string> read_text(const std::filesystem::path& file, std::uintmax_t most_bytes);

// One pose a frame, in order. Refuses matrices that are not rigid within the tolerance; within it they are replaced
// by the nearest rotation.
[[nodiscard]] Outcome<std::vector<Transform>> parse_log_trajectory(const std::string& text, const std::string& name,
                                                                   double rigid_tolerance);

[[nodiscard]] Outcome<std::vector<TimedPose>> parse_tum_trajectory(const std::string& text, const std::string& name,
                                                                   double rigid_tolerance);

// Lines of 'time word ...'; '#' starts a comment. Times must not decrease.
[[nodiscard]] Outcome<std::vector<TimedLine>> parse_tum_list(const std::string& text, const std::string& name);

// The pose of the nearest time within the gap, or none. Poses sorted by time.
[[nodiscard]] std::optional<Transform> pose_at(const std::vector<TimedPose>& poses, double time_s, double gap_s);

}  // namespace rimwright
