#include "capture/depth/read_trajectory.h"

#include <Eigen/SVD>
#include <algorithm>
#include <cmath>
#include <fstream>
#include <sstream>

namespace rimwright {

namespace {

constexpr double mm_per_metre = 1000.0;
constexpr double longest_translation_m = 50.0;  // a hand-held pass about a body stays within a room

tl::unexpected<Refusal> not_rigid(const std::string& name, std::size_t pose) {
  return refuse(RefusalReason::file_malformed, "pose " + std::to_string(pose) + " of " + name + " is not rigid",
                "write each pose as a rotation and a translation without scale or shear, or leave the file out");
}

tl::unexpected<Refusal> malformed(const std::string& name, std::size_t line, const std::string& wanted) {
  return refuse(RefusalReason::file_malformed, "line " + std::to_string(line) + " of " + name + " is not " + wanted,
                "export the trajectory again, or leave the file out");
}

tl::unexpected<Refusal> wrong_unit(const std::string& name, std::size_t pose) {
  return refuse(RefusalReason::units_doubtful,
                "pose " + std::to_string(pose) + " of " + name + " lies more than 50 m from the origin",
                "state translations in metres, as the layout asks");
}

std::optional<Matrix3> nearest_rotation(const Matrix3& matrix, double tolerance) {
  const double departure = (matrix.transpose() * matrix - Matrix3::Identity()).cwiseAbs().maxCoeff();
  if (!(departure <= tolerance) || matrix.determinant() <= 0.0) return std::nullopt;
  const Eigen::JacobiSVD<Matrix3> svd(matrix, Eigen::ComputeFullU | Eigen::ComputeFullV);
  return svd.matrixU() * svd.matrixV().transpose();
}

}  // namespace

Outcome<std::string> read_text(const std::filesystem::path& file, std::uintmax_t most_bytes) {
  std::error_code error;
  const std::uintmax_t bytes = std::filesystem::file_size(file, error);
  if (error) {
    return refuse(RefusalReason::file_not_readable, file.filename().string() + " cannot be read",
                  "check that it is a file and that you may read it");
  }
  if (bytes > most_bytes) {
    return refuse(RefusalReason::file_over_limit,
                  file.filename().string() + " holds " + std::to_string(bytes) + " bytes, the limit is " +
                      std::to_string(most_bytes),
                  "check that it is the right file");
  }
  std::ifstream stream(file, std::ios::binary);
  std::ostringstream text;
  text << stream.rdbuf();
  if (!stream) {
    return refuse(RefusalReason::file_not_readable, file.filename().string() + " cannot be read",
                  "check that it is a file with something in it and that you may read it");
  }
  return text.str();
}

Outcome<std::vector<Transform>> parse_log_trajectory(const std::string& text, const std::string& name,
                                                     double rigid_tolerance) {
  std::vector<Transform> poses;
  std::istringstream stream(text);
  std::string line;
  std::size_t line_number = 0;
  while (std::getline(stream, line)) {
    ++line_number;
    if (line.find_first_not_of(" \t\r") == std::string::npos) continue;
    std::istringstream head(line);
    double first = 0.0, second = 0.0, third = 0.0;
    if (!(head >> first >> second >> third)) return malformed(name, line_number, "a line of three numbers");
    Eigen::Matrix4d matrix;
    for (int row = 0; row < 4; ++row) {
      ++line_number;
      if (!std::getline(stream, line)) {
        return refuse(RefusalReason::file_truncated, name + " ends within pose " + std::to_string(poses.size()),
                      "export the trajectory again, or leave the file out");
      }
      std::istringstream numbers(line);
      for (int column = 0; column < 4; ++column) {
        if (!(numbers >> matrix(row, column))) return malformed(name, line_number, "a row of four numbers");
      }
    }
    const Eigen::RowVector4d last_row(0.0, 0.0, 0.0, 1.0);
    const auto rotation = nearest_rotation(matrix.topLeftCorner<3, 3>(), rigid_tolerance);
    if (!matrix.allFinite() || !rotation || (matrix.row(3) - last_row).cwiseAbs().maxCoeff() > rigid_tolerance) {
      return not_rigid(name, poses.size());
    }
    const Vector3 translation_m = matrix.topRightCorner<3, 1>();
    if (translation_m.norm() > longest_translation_m) return wrong_unit(name, poses.size());
    Transform pose = Transform::Identity();
    pose.linear() = *rotation;
    pose.translation() = mm_per_metre * translation_m;
    poses.push_back(pose);
  }
  return poses;
}

Outcome<std::vector<TimedLine>> parse_tum_list(const std::string& text, const std::string& name) {
  std::vector<TimedLine> lines;
  std::istringstream stream(text);
  std::string line;
  std::size_t line_number = 0;
  while (std::getline(stream, line)) {
    ++line_number;
    line = line.substr(0, line.find('#'));
    if (line.find_first_not_of(" \t\r") == std::string::npos) continue;
    std::istringstream words(line);
    TimedLine timed;
    if (!(words >> timed.time_s) || !std::isfinite(timed.time_s)) {
      return malformed(name, line_number, "a time in seconds followed by its entry");
    }
    for (std::string word; words >> word;) timed.words.push_back(word);
    if (timed.words.empty()) return malformed(name, line_number, "a time in seconds followed by its entry");
    if (!lines.empty() && timed.time_s < lines.back().time_s) {
      return malformed(name, line_number, "later than the line before");
    }
    lines.push_back(std::move(timed));
  }
  return lines;
}

Outcome<std::vector<TimedPose>> parse_tum_trajectory(const std::string& text, const std::string& name,
                                                     double rigid_tolerance) {
  const auto lines = parse_tum_list(text, name);
  if (!lines) return tl::unexpected(lines.error());
  std::vector<TimedPose> poses;
  poses.reserve(lines->size());
  for (const TimedLine& line : *lines) {
    std::array<double, 7> value{};
    bool numbers = line.words.size() == value.size();
    for (std::size_t i = 0; numbers && i < value.size(); ++i) {
      std::istringstream word(line.words[i]);
      numbers = static_cast<bool>(word >> value[i]) && std::isfinite(value[i]);
    }
    if (!numbers) {
      return refuse(RefusalReason::file_malformed,
                    "pose " + std::to_string(poses.size()) + " of " + name + " is not 'time tx ty tz qx qy qz qw'",
                    "export the trajectory again, or leave the file out");
    }
    const Eigen::Quaterniond rotation(value[6], value[3], value[4], value[5]);
    if (std::abs(rotation.norm() - 1.0) > rigid_tolerance) return not_rigid(name, poses.size());
    const Vector3 translation_m(value[0], value[1], value[2]);
    if (translation_m.norm() > longest_translation_m) return wrong_unit(name, poses.size());
    TimedPose pose;
    pose.time_s = line.time_s;
    pose.T_scan_camera.linear() = rotation.normalized().toRotationMatrix();
    pose.T_scan_camera.translation() = mm_per_metre * translation_m;
    poses.push_back(pose);
  }
  return poses;
}

std::optional<Transform> pose_at(const std::vector<TimedPose>& poses, double time_s, double gap_s) {
  const auto after = std::lower_bound(poses.begin(), poses.end(), time_s,
                                      [](const TimedPose& pose, double time) { return pose.time_s < time; });
  const TimedPose* nearest = nullptr;
  if (after != poses.end()) nearest = &*after;
  if (after != poses.begin() && (!nearest || time_s - std::prev(after)->time_s < nearest->time_s - time_s)) {
    nearest = &*std::prev(after);
  }
  if (!nearest || std::abs(nearest->time_s - time_s) > gap_s) return std::nullopt;
  return nearest->T_scan_camera;
}

}  // namespace rimwright
