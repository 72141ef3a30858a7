// A small depth capture written to a folder of its own, to be spoiled by a test in one way.
#pragma once

#include <cstdint>
#include <filesystem>
#include <fstream>
#include <opencv2/imgcodecs.hpp>
#include <string>
#include <vector>

namespace rimwright_test {

class DepthFolder {
 public:
  explicit DepthFolder(const std::string& name)
      : path_(std::filesystem::temp_directory_path() / ("rimwright_" + name)) {
    std::filesystem::remove_all(path_);
    std::filesystem::create_directories(path_ / "depth");
  }
  ~DepthFolder() { std::filesystem::remove_all(path_); }
  DepthFolder(const DepthFolder&) = delete;
  DepthFolder& operator=(const DepthFolder&) = delete;

  [[nodiscard]] const std::filesystem::path& path() const { return path_; }

  void text(const std::string& name, const std::string& content) const { std::ofstream(path_ / name) << content; }

  void intrinsics(int width, int height, double focal) const {
    text("intrinsic.json", "{\"width\": " + std::to_string(width) + ", \"height\": " + std::to_string(height) +
                               ", \"intrinsic_matrix\": [" + std::to_string(focal) + ", 0, 0, 0, " +
                               std::to_string(focal) + ", 0, " + std::to_string(0.5 * (width - 1)) + ", " +
                               std::to_string(0.5 * (height - 1)) + ", 1]}");
  }

  void image(const std::string& name, const cv::Mat& image) const { cv::imwrite((path_ / name).string(), image); }

  void flat_frame(const std::string& name, int width, int height, std::uint16_t count) const {
    image(name, cv::Mat(height, width, CV_16UC1, cv::Scalar(count)));
  }

 private:
  std::filesystem::path path_;
};

}  // namespace rimwright_test
