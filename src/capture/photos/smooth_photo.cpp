#include "capture/photos/smooth_photo.h"

#include <opencv2/imgproc.hpp>

namespace rimwright {

std::vector<SmoothPhoto> smooth_photos(const PhotoSet& set, double sigma_px, Workers& workers) {
  std::vector<SmoothPhoto> smooth(set.photos.size());
  workers.for_chunks(set.photos.size(), 1, [&](std::size_t begin, std::size_t end, std::size_t) {
    for (std::size_t i = begin; i < end; ++i) {
      const Photo& photo = set.photos[i];
      const cv::Mat grey(photo.height, photo.width, CV_8U, const_cast<std::uint8_t*>(photo.grey.data()));
      cv::Mat fine;
      grey.convertTo(fine, CV_16U, 128.0);
      smooth[i].width = fine.cols;
      smooth[i].height = fine.rows;
      smooth[i].values.resize(fine.total());
      cv::Mat out(fine.rows, fine.cols, CV_16U, smooth[i].values.data());
      cv::GaussianBlur(fine, out, {}, sigma_px);
    }
  });
  return smooth;
}

SmoothPhoto shrink_photo(const SmoothPhoto& photo, int shrink) {
  SmoothPhoto small;
  small.width = photo.width / shrink;
  small.height = photo.height / shrink;
  small.values.resize(static_cast<std::size_t>(small.width) * static_cast<std::size_t>(small.height));
  const cv::Mat full(photo.height, photo.width, CV_16U, const_cast<std::uint16_t*>(photo.values.data()));
  cv::Mat out(small.height, small.width, CV_16U, small.values.data());
  // Rows and columns beyond a whole number of squares are left off, so that the squares stay where the views say.
  cv::resize(full(cv::Rect(0, 0, shrink * small.width, shrink * small.height)), out, out.size(), 0, 0, cv::INTER_AREA);
  return small;
}

}  // namespace rimwright
