#include "capture/photos/find_target.h"

#include <algorithm>
#include <cmath>
#include <opencv2/aruco/charuco.hpp>
#include <opencv2/calib3d.hpp>
#include <opencv2/imgproc.hpp>
#include <optional>

#include "capture/target_dictionary.h"

namespace rimwright {
namespace {

struct Found {
  std::vector<cv::Point2f> corners;  // full size
  std::vector<int> ids;
};

// Markers and the corners between them, looked for in a copy with a longer side of about side_px.
Found search_at(const cv::Mat& full, double side_px, const ScaleTarget& target) {
  const double resize = side_px / std::max(full.cols, full.rows);
  cv::Mat copy = full;
  if (resize < 1.0) cv::resize(full, copy, {}, resize, resize, cv::INTER_AREA);
  if (resize > 1.0) cv::resize(full, copy, {}, resize, resize, cv::INTER_CUBIC);
  const auto dictionary = marker_dictionary(target.dictionary);
  const auto board =
      cv::aruco::CharucoBoard::create(target.squares_across, target.squares_down, static_cast<float>(target.square_mm),
                                      static_cast<float>(target.marker_mm), dictionary);
  std::vector<std::vector<cv::Point2f>> markers;
  std::vector<int> marker_ids;
  cv::aruco::detectMarkers(copy, dictionary, markers, marker_ids);
  Found found;
  if (marker_ids.empty()) return found;
  cv::aruco::interpolateCornersCharuco(markers, marker_ids, copy, board, found.corners, found.ids);
  for (cv::Point2f& c : found.corners) {
    c.x = static_cast<float>((c.x + 0.5) / resize - 0.5);
    c.y = static_cast<float>((c.y + 0.5) / resize - 0.5);
  }
  return found;
}

// How the picture of a plane goes about one of its points: a homography's value and derivative there.
ForetoldCorner foretold_by(const Matrix3& pixel_from_mm, const Vector3& at_mm) {
  const Vector3 h = pixel_from_mm * Vector3(at_mm.x(), at_mm.y(), 1.0);
  ForetoldCorner corner;
  corner.pixel = h.head<2>() / h.z();
  for (int axis = 0; axis < 2; ++axis) {
    corner.pixel_per_mm.col(axis) = (pixel_from_mm.col(axis).head<2>() - corner.pixel * pixel_from_mm(2, axis)) / h.z();
  }
  return corner;
}

// From the board's plane to the picture, through corners found about (within a pixel or two); lenses bend it little.
std::optional<Matrix3> homography_of(const Found& found, const std::vector<Vector3>& corners_mm) {
  constexpr double off_px = 8.0;  // a lens's bend over the board, and more
  if (found.ids.size() < 4) return std::nullopt;
  std::vector<cv::Point2f> board;
  for (const int id : found.ids) {
    const Vector3& mm = corners_mm[static_cast<std::size_t>(id)];
    board.emplace_back(static_cast<float>(mm.x()), static_cast<float>(mm.y()));
  }
  const cv::Mat h = cv::findHomography(board, found.corners, cv::RANSAC, off_px);
  if (h.empty()) return std::nullopt;
  Matrix3 homography;
  for (int row = 0; row < 3; ++row)
    for (int column = 0; column < 3; ++column) homography(row, column) = h.at<double>(row, column);
  return homography;
}

}  // namespace

std::vector<TargetCorner> find_target(const Photo& photo, const ScaleTarget& target,
                                      const FindTargetSettings& settings) {
  const cv::Mat full(photo.height, photo.width, CV_8U, const_cast<std::uint8_t*>(photo.grey.data()));
  const int longer = std::max(photo.width, photo.height);
  Found seen = search_at(full, std::min(longer, settings.search_side_px), target);
  if (static_cast<double>(seen.ids.size()) < settings.patient_below_share * target.corner_count()) {
    Found again = search_at(full, std::min(2 * longer, settings.patient_side_px), target);
    if (again.ids.size() > seen.ids.size()) seen = std::move(again);
  }
  const std::vector<Vector3> corners_mm = target_corners_mm(target);
  const auto homography = homography_of(seen, corners_mm);
  if (!homography) return {};
  std::vector<TargetCorner> found;
  for (std::size_t i = 0; i < seen.ids.size(); ++i) {
    ForetoldCorner foretold = foretold_by(*homography, corners_mm[static_cast<std::size_t>(seen.ids[i])]);
    foretold.pixel = Vector2(seen.corners[i].x, seen.corners[i].y);  // which the lens has not bent away
    const auto pixel = refine_corner(photo, foretold, target, settings.corner);
    if (pixel) found.push_back({seen.ids[i], *pixel});
  }
  std::sort(found.begin(), found.end(), [](const auto& a, const auto& b) { return a.index < b.index; });
  return found;
}

}  // namespace rimwright
