#include "capture/photos/find_target.h"

#include <algorithm>
#include <cmath>
#include <opencv2/aruco/charuco.hpp>
#include <opencv2/imgproc.hpp>

#include "capture/target_dictionary.h"

namespace rimwright {
namespace {

// Median distance in pixels between corners that are neighbours on the board.
double seen_square_px(const std::vector<cv::Point2f>& corners, const std::vector<int>& ids, const ScaleTarget& target) {
  const int across = target.squares_across - 1;
  std::vector<cv::Point2f> by_id(static_cast<std::size_t>(target.corner_count()), {-1, -1});
  for (std::size_t i = 0; i < ids.size(); ++i) by_id[static_cast<std::size_t>(ids[i])] = corners[i];
  std::vector<double> sides;
  for (int id : ids) {
    for (int next : {id % across + 1 < across ? id + 1 : -1, id + across}) {
      if (next < 0 || next >= target.corner_count()) continue;
      const cv::Point2f a = by_id[static_cast<std::size_t>(id)], b = by_id[static_cast<std::size_t>(next)];
      if (b.x >= 0) sides.push_back(std::hypot(a.x - b.x, a.y - b.y));
    }
  }
  if (sides.empty()) return 0.0;
  std::sort(sides.begin(), sides.end());
  return sides[sides.size() / 4];  // the foreshortened direction sets the window
}

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
  auto& [corners, ids] = seen;
  if (corners.empty()) return {};

  const int window =
      std::clamp(static_cast<int>(std::lround(settings.corner_window_share * seen_square_px(corners, ids, target))),
                 settings.smallest_window_px, settings.largest_window_px);
  cv::cornerSubPix(full, corners, {window, window}, {-1, -1},
                   {cv::TermCriteria::EPS + cv::TermCriteria::MAX_ITER, 60, 1e-4});
  std::vector<TargetCorner> found;
  for (std::size_t i = 0; i < corners.size(); ++i) {
    const double x = corners[i].x, y = corners[i].y;
    const bool inside = x > window && y > window && x < photo.width - 1 - window && y < photo.height - 1 - window;
    if (inside) found.push_back({ids[i], Vector2(x, y)});
  }
  std::sort(found.begin(), found.end(), [](const auto& a, const auto& b) { return a.index < b.index; });
  return found;
}

}  // namespace rimwright
