#include "capture/photos/smooth_photo.h"

#include <opencv2/imgproc.hpp>

namespace rimwright {

std::vector<SmoothPhoto> smooth_photos(const PhotoSet& set, double sigma_px, int shrink, Workers& workers) {
  std::vector<SmoothPhoto> smooth(set.photos.size());
  workers.for_chunks(set.photos.size(), 1, [&](std::size_t begin, std::size_t end, std::size_t) {
    for (std::size_t i = begin; i < end; ++i) {
      const Photo& photo = set.photos[i];
      const cv::Mat grey(photo.height, photo.width, CV_8U, const_cast<std::uint8_t*>(photo.grey.data()));
      cv::Mat fine, small;
      grey.convertTo(fine, CV_16U, 128.0);
      if (shrink > 1) {
        cv::resize(fine, small, {photo.width / shrink, photo.height / shrink}, 0, 0, cv::INTER_AREA);
      } else {
        small = fine;
      }
      smooth[i].width = small.cols;
      smooth[i].height = small.rows;
      smooth[i].values.resize(small.total());
      cv::Mat out(small.rows, small.cols, CV_16U, smooth[i].values.data());
      cv::GaussianBlur(small, out, {}, sigma_px);
    }
  });
  return smooth;
}

}  // namespace rimwright
