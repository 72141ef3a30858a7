#include "capture/depth/read_depth_capture.h"

#include <algorithm>
#include <array>
#include <cmath>
#include <nlohmann/json.hpp>

#include "capture/depth/list_depth_frames.h"
#include "capture/depth/read_trajectory.h"
#include "core/median.h"
#include "core/picture_files.h"
#include "core/small_file.h"

namespace rimwright {

namespace {

namespace fs = std::filesystem;

constexpr double plain_counts_per_metre = 1000.0;
constexpr double tum_counts_per_metre = 5000.0;

bool is_there(const fs::path& file) {
  std::error_code error;
  return fs::exists(file, error);
}

Outcome<nlohmann::json> read_json(const fs::path& file, const ReadDepthSettings& settings) {
  const auto text = read_text(file, settings.most_text_bytes);
  if (!text) return tl::unexpected(text.error());
  auto json = nlohmann::json::parse(*text, nullptr, false);
  if (json.is_discarded() || !json.is_object()) {
    return refuse(RefusalReason::file_malformed, file.filename().string() + " is not a JSON object", "write it again");
  }
  return json;
}

Outcome<PinholeIntrinsics> read_intrinsics(const fs::path& folder, const ReadDepthSettings& settings) {
  const fs::path file = folder / "intrinsic.json";
  if (!is_there(file)) {
    return refuse(RefusalReason::file_not_found, "the depth capture has no intrinsic.json",
                  "put the camera's width, height and column-major intrinsic_matrix there");
  }
  const auto json = read_json(file, settings);
  if (!json) return tl::unexpected(json.error());
  PinholeIntrinsics intrinsics;
  std::array<double, 9> matrix{};
  try {
    // A camera-parameters file holds the pinhole layout one level down, beside the pose.
    const nlohmann::json& pinhole = json->contains("intrinsic") ? json->at("intrinsic") : *json;
    intrinsics.width_px = pinhole.at("width").get<int>();
    intrinsics.height_px = pinhole.at("height").get<int>();
    matrix = pinhole.at("intrinsic_matrix").get<std::array<double, 9>>();
  } catch (const nlohmann::json::exception&) {
    return refuse(RefusalReason::file_malformed,
                  "intrinsic.json lacks width, height or the nine numbers of intrinsic_matrix",
                  "write it in the pinhole layout of Open3D");
  }
  intrinsics.fx_px = matrix[0];
  intrinsics.fy_px = matrix[4];
  intrinsics.cx_px = matrix[6];
  intrinsics.cy_px = matrix[7];
  constexpr int largest_side_px = 8192;
  const bool sizes_make_sense = intrinsics.width_px >= 16 && intrinsics.height_px >= 16 &&
                                intrinsics.width_px <= largest_side_px && intrinsics.height_px <= largest_side_px;
  // A row-major matrix would carry the principal point at places 2 and 5 and zeros at 6 and 7.
  const bool column_major = matrix[1] == 0.0 && matrix[2] == 0.0 && matrix[5] == 0.0 && matrix[8] == 1.0;
  const bool camera_makes_sense = intrinsics.fx_px > 1.0 && intrinsics.fy_px > 1.0 && intrinsics.fx_px < 1e6 &&
                                  intrinsics.fy_px < 1e6 && intrinsics.cx_px > 0.0 && intrinsics.cy_px > 0.0 &&
                                  intrinsics.cx_px < intrinsics.width_px && intrinsics.cy_px < intrinsics.height_px;
  if (!sizes_make_sense || !column_major || !camera_makes_sense) {
    return refuse(RefusalReason::file_malformed, "intrinsic.json does not describe a pinhole camera without skew",
                  "check that width and height are pixels and that intrinsic_matrix is column-major");
  }
  return intrinsics;
}

Outcome<double> read_mm_per_count(const fs::path& folder, const ReadDepthSettings& settings) {
  double counts_per_metre = has_tum_lists(folder) ? tum_counts_per_metre : plain_counts_per_metre;
  const fs::path file = folder / "capture.json";
  if (is_there(file)) {
    const auto json = read_json(file, settings);
    if (!json) return tl::unexpected(json.error());
    if (json->contains("depth_scale")) {
      const auto& value = json->at("depth_scale");
      counts_per_metre = value.is_number() ? value.get<double>() : 0.0;
    }
    if (!(counts_per_metre >= 10.0 && counts_per_metre <= 1e7)) {
      return refuse(RefusalReason::file_malformed, "depth_scale in capture.json is not a number of counts a metre",
                    "state it between 10 and 10 million; 1000 means one count a millimetre");
    }
  }
  return 1000.0 / counts_per_metre;
}

// Size, bit depth and channels as the PNG's own header states them (ISO/IEC 15948, IHDR), before anything is decoded.
Outcome<bool> check_png_header(const fs::path& file, const std::string& bytes, const PinholeIntrinsics& intrinsics) {
  std::array<unsigned char, 26> head{};
  const bool whole = bytes.size() >= head.size();
  if (whole) std::copy_n(bytes.begin(), head.size(), head.begin());
  constexpr std::array<unsigned char, 8> signature{0x89, 'P', 'N', 'G', '\r', '\n', 0x1a, '\n'};
  if (!whole || !std::equal(signature.begin(), signature.end(), head.begin())) {
    return refuse(RefusalReason::file_not_supported, "the depth image " + file.filename().string() + " is not a PNG",
                  "store depth as 16-bit PNG");
  }
  const auto number = [&head](std::size_t at) {
    return (std::uint32_t{head[at]} << 24) | (std::uint32_t{head[at + 1]} << 16) | (std::uint32_t{head[at + 2]} << 8) |
           std::uint32_t{head[at + 3]};
  };
  if (head[24] != 16 || head[25] != 0) {
    return refuse(RefusalReason::file_not_supported,
                  "the depth image " + file.filename().string() + " is not 16-bit with one channel",
                  "store depth as 16-bit PNG, one channel");
  }
  if (number(16) != static_cast<std::uint32_t>(intrinsics.width_px) ||
      number(20) != static_cast<std::uint32_t>(intrinsics.height_px)) {
    return refuse(RefusalReason::capture_insufficient,
                  "the depth image " + file.filename().string() + " is " + std::to_string(number(16)) + " x " +
                      std::to_string(number(20)) + " pixels, intrinsic.json says " +
                      std::to_string(intrinsics.width_px) + " x " + std::to_string(intrinsics.height_px),
                  "give the intrinsics of the depth images as stored");
  }
  return true;
}

Outcome<std::vector<std::uint16_t>> read_depth_image(const fs::path& file, const PinholeIntrinsics& intrinsics) {
  // More than twice the raw pixels is no PNG of that size.
  const std::size_t pixels =
      static_cast<std::size_t>(intrinsics.width_px) * static_cast<std::size_t>(intrinsics.height_px);
  const auto bytes = read_small_file(file, 4 * pixels + (std::size_t{1} << 20));
  if (!bytes)
    return refuse(bytes.error().reason, "the depth image " + bytes.error().what, "put it back or take it off the list");
  if (const auto header = check_png_header(file, *bytes, intrinsics); !header) return tl::unexpected(header.error());
  auto image = deep_picture({reinterpret_cast<const unsigned char*>(bytes->data()), bytes->size()}, pixels);
  if (!image || image->width != intrinsics.width_px || image->height != intrinsics.height_px) {
    return refuse(RefusalReason::file_truncated, "the depth image " + file.filename().string() + " cannot be decoded",
                  "copy it from the camera again");
  }
  return std::move(image->pixels);
}

// Poses as given, one a frame; none at all when the folder has no trajectory.
Outcome<std::vector<std::optional<Transform>>> read_poses(const fs::path& folder, const std::vector<FrameFiles>& frames,
                                                          const ReadDepthSettings& settings,
                                                          std::vector<std::string>& notes) {
  std::vector<std::optional<Transform>> poses(frames.size());
  const bool timed_frames =
      std::all_of(frames.begin(), frames.end(), [](const FrameFiles& files) { return files.time_s.has_value(); });
  for (const char* name : {"trajectory.log", "trajectory.txt", "groundtruth.txt"}) {
    if (!is_there(folder / name)) continue;
    const auto text = read_text(folder / name, settings.most_text_bytes);
    if (!text) return tl::unexpected(text.error());
    if (std::string(name) == "trajectory.log") {
      const auto log = parse_log_trajectory(*text, name, settings.rigid_tolerance);
      if (!log) return tl::unexpected(log.error());
      if (log->size() != frames.size()) {
        return refuse(RefusalReason::capture_insufficient,
                      "trajectory.log holds " + std::to_string(log->size()) + " poses for " +
                          std::to_string(frames.size()) + " depth images",
                      "give one pose for each image, or leave the file out");
      }
      std::copy(log->begin(), log->end(), poses.begin());
      return poses;
    }
    if (!timed_frames) {
      notes.push_back(std::string(name) + " was not used: nothing says when the depth images were taken.");
      return poses;
    }
    const auto timed = parse_tum_trajectory(*text, name, settings.rigid_tolerance);
    if (!timed) return tl::unexpected(timed.error());
    for (std::size_t i = 0; i < frames.size(); ++i) {
      poses[i] = pose_at(*timed, *frames[i].time_s, settings.association_gap_s);
    }
    if (std::none_of(poses.begin(), poses.end(), [](const auto& pose) { return pose.has_value(); }))
      notes.push_back(std::string(name) + " was not used: it holds no pose at the time of any depth image.");
    return poses;
  }
  return poses;
}

double median_count(const std::vector<std::uint16_t>& counts) {
  std::vector<std::uint16_t> seen;
  std::copy_if(counts.begin(), counts.end(), std::back_inserter(seen), [](std::uint16_t count) { return count != 0; });
  return median_of(std::move(seen));
}

}  // namespace

bool is_depth_capture(const fs::path& folder) {
  std::error_code error;
  return fs::is_directory(folder / "depth", error) || has_tum_lists(folder);
}

Outcome<DepthCapture> read_depth_capture(const fs::path& folder, const ReadDepthSettings& settings) {
  if (!is_depth_capture(folder)) {
    return refuse(RefusalReason::file_not_found, folder.string() + " holds no depth folder", "name a depth capture");
  }
  DepthCapture capture;
  const auto intrinsics = read_intrinsics(folder, settings);
  if (!intrinsics) return tl::unexpected(intrinsics.error());
  capture.intrinsics = *intrinsics;
  const auto mm_per_count = read_mm_per_count(folder, settings);
  if (!mm_per_count) return tl::unexpected(mm_per_count.error());
  capture.mm_per_count = *mm_per_count;
  const auto files = list_depth_frames(folder, settings);
  if (!files) return tl::unexpected(files.error());
  if (files->size() < 2) {
    return refuse(RefusalReason::capture_insufficient,
                  "the depth capture holds " + std::to_string(files->size()) + " depth images",
                  "move the camera along the rim and record at least two, better a hundred");
  }
  const std::uint64_t frame_pixels = static_cast<std::uint64_t>(capture.intrinsics.width_px) *
                                     static_cast<std::uint64_t>(capture.intrinsics.height_px);
  if (files->size() > settings.most_frames || files->size() * frame_pixels > settings.most_pixels) {
    return refuse(RefusalReason::file_over_limit,
                  "the depth capture holds " + std::to_string(files->size()) + " images of " +
                      std::to_string(frame_pixels) + " pixels, the limit is " + std::to_string(settings.most_frames) +
                      " images and " + std::to_string(settings.most_pixels) + " pixels in all",
                  "keep every second or third image");
  }
  const auto poses = read_poses(folder, *files, settings, capture.notes);
  if (!poses) return tl::unexpected(poses.error());

  std::size_t empty = 0, without_pose = 0;
  double lowest_median = 0.0, highest_median = 0.0;
  for (std::size_t i = 0; i < files->size(); ++i) {
    auto counts = read_depth_image((*files)[i].depth, capture.intrinsics);
    if (!counts) return tl::unexpected(counts.error());
    const double median = median_count(*counts);
    if (median == 0.0) {
      ++empty;
      continue;
    }
    lowest_median = capture.frames.empty() ? median : std::min(lowest_median, median);
    highest_median = std::max(highest_median, median);
    if (!(*poses)[i]) ++without_pose;
    capture.frames.push_back({(*files)[i].name, (*files)[i].colour, std::move(*counts), (*poses)[i]});
  }
  if (capture.frames.size() < 2) {
    return refuse(RefusalReason::capture_insufficient,
                  std::to_string(empty) + " of " + std::to_string(files->size()) + " depth images hold only zeros",
                  "check the camera's range and that depth was recorded");
  }
  // A hand-held pass keeps its distance within a factor of a few; a thousandfold step is a change of unit.
  constexpr double widest_ratio = 8.0;
  if (highest_median > widest_ratio * lowest_median) {
    return refuse(RefusalReason::units_doubtful,
                  "the depth images disagree about their unit: medians run from " +
                      std::to_string(std::lround(lowest_median)) + " to " +
                      std::to_string(std::lround(highest_median)) + " counts",
                  "store all depth images with one number of counts a metre");
  }
  // Nothing can be measured closer than this, nor a rim farther away: another unit is likelier.
  constexpr double nearest_mm = 60.0, farthest_mm = 2500.0;
  const double nearest_read_mm = lowest_median * capture.mm_per_count;
  if (highest_median * capture.mm_per_count < nearest_mm || nearest_read_mm > farthest_mm) {
    return refuse(RefusalReason::units_doubtful,
                  "the depth images read as " + std::to_string(std::lround(nearest_read_mm)) +
                      " mm from the camera at " + std::to_string(std::lround(1000.0 / capture.mm_per_count)) +
                      " counts a metre",
                  "state the camera's counts a metre as depth_scale in capture.json");
  }
  if (empty > 0) capture.notes.push_back(std::to_string(empty) + " depth images hold only zeros and were left out.");
  if (without_pose > 0 && without_pose < capture.frames.size()) {
    capture.notes.push_back(std::to_string(without_pose) + " depth images have no pose in the trajectory.");
  }
  return capture;
}

}  // namespace rimwright
