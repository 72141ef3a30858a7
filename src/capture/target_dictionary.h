// The marker dictionaries a target may use. Only for .cpp files that use OpenCV.
#pragma once

#include <opencv2/aruco/dictionary.hpp>
#include <string>

namespace rimwright {

// Empty when the name ("5X5_100") is not known.
[[nodiscard]] cv::Ptr<cv::aruco::Dictionary> marker_dictionary(const std::string& name);

}  // namespace rimwright
