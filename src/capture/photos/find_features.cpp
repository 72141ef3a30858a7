#include "capture/photos/find_features.h"

#include <cmath>
#include <opencv2/features2d.hpp>
#include <opencv2/imgproc.hpp>

namespace rimwright {

Features find_features(const Photo& photo, const FindFeaturesSettings& settings) {
  const cv::Mat full(photo.height, photo.width, CV_8U, const_cast<std::uint8_t*>(photo.grey.data()));
  const double pixels = static_cast<double>(full.total());
  const int shrink = std::max(1, static_cast<int>(std::lround(std::sqrt(pixels / (settings.search_megapixels * 1e6)))));
  cv::Mat small = full;
  if (shrink > 1) cv::resize(full, small, {full.cols / shrink, full.rows / shrink}, 0, 0, cv::INTER_AREA);
  std::vector<cv::KeyPoint> points;
  cv::Mat descriptors;
  cv::SIFT::create(settings.features_per_photo, 3, settings.contrast, 12.0)
      ->detectAndCompute(small, cv::noArray(), points, descriptors);
  Features found;
  for (int i = 0; i < descriptors.rows; ++i) {
    cv::Mat row = descriptors.row(i);
    const double sum = cv::norm(row, cv::NORM_L1);
    if (sum > 0.0) row /= sum;
    cv::sqrt(row, row);
    for (int k = 0; k < Features::length; ++k) {
      found.descriptors.push_back(cv::saturate_cast<std::uint8_t>(row.at<float>(k) * Features::unit));
    }
  }
  found.cells_across = photo.width / Features::cell_px + 1;
  found.cells_down = photo.height / Features::cell_px + 1;
  found.cells.resize(static_cast<std::size_t>(found.cells_across) * static_cast<std::size_t>(found.cells_down));
  for (std::size_t i = 0; i < points.size(); ++i) {
    // OpenCV 4.6 places key points a quarter pixel of the given image too far right and down.
    found.pixels.emplace_back(shrink * (static_cast<double>(points[i].pt.x) - 0.25 + 0.5) - 0.5,
                              shrink * (static_cast<double>(points[i].pt.y) - 0.25 + 0.5) - 0.5);
    found.cells[found.cell_at(found.pixels.back())].push_back(static_cast<int>(i));
  }
  return found;
}

}  // namespace rimwright
