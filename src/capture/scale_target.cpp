#include "capture/scale_target.h"

#include <cmath>
#include <map>
#include <opencv2/core.hpp>

#include "capture/target_dictionary.h"

namespace rimwright {
namespace {

constexpr int fewest_squares = 3, most_squares = 40;

const std::map<std::string, cv::aruco::PREDEFINED_DICTIONARY_NAME>& dictionaries() {
  using namespace cv::aruco;
  static const std::map<std::string, PREDEFINED_DICTIONARY_NAME> known = {
      {"4X4_50", DICT_4X4_50}, {"4X4_100", DICT_4X4_100}, {"4X4_250", DICT_4X4_250}, {"4X4_1000", DICT_4X4_1000},
      {"5X5_50", DICT_5X5_50}, {"5X5_100", DICT_5X5_100}, {"5X5_250", DICT_5X5_250}, {"5X5_1000", DICT_5X5_1000},
      {"6X6_50", DICT_6X6_50}, {"6X6_100", DICT_6X6_100}, {"6X6_250", DICT_6X6_250}, {"6X6_1000", DICT_6X6_1000},
      {"7X7_50", DICT_7X7_50}, {"7X7_100", DICT_7X7_100}, {"7X7_250", DICT_7X7_250}, {"7X7_1000", DICT_7X7_1000}};
  return known;
}

// In a board of OpenCV 4.6 the top left square is black, and markers fill the white squares row by row.
bool is_white(int column, int row) { return (column + row) % 2 == 1; }

int marker_count(const ScaleTarget& target) { return target.squares_across * target.squares_down / 2; }

}  // namespace

cv::Ptr<cv::aruco::Dictionary> marker_dictionary(const std::string& name) {
  const auto known = dictionaries().find(name);
  if (known == dictionaries().end()) return {};
  return cv::aruco::getPredefinedDictionary(known->second);
}

std::vector<Vector3> target_corners_mm(const ScaleTarget& target) {
  std::vector<Vector3> corners;
  for (int row = 1; row < target.squares_down; ++row) {
    for (int column = 1; column < target.squares_across; ++column) {
      corners.emplace_back(column * target.square_mm, row * target.square_mm, 0.0);
    }
  }
  return corners;
}

Outcome<void> check_scale_target(const ScaleTarget& target) {
  const auto off = [](const std::string& what) {
    return refuse(RefusalReason::settings_not_valid, "the target as described cannot exist: " + what,
                  "correct the target's sizes in the settings");
  };
  for (int count : {target.squares_across, target.squares_down}) {
    if (count < fewest_squares || count > most_squares) return off("a side needs 3 to 40 squares");
  }
  const bool sizes_in_order = target.marker_mm > 0.0 && target.marker_mm < target.square_mm &&
                              target.square_mm <= 1000.0 && target.check_bar_mm > 0.0 && target.check_bar_mm <= 1000.0;
  if (!sizes_in_order) return off("marker, square and check bar must be above 0, marker below square, all below 1 m");
  const auto dictionary = marker_dictionary(target.dictionary);
  if (dictionary.empty()) {
    return off("'" + target.dictionary.substr(0, 40) + "' is no marker dictionary (5X5_100 is one)");
  }
  const int markers_known = dictionary->bytesList.rows;
  if (marker_count(target) > markers_known) {
    return off("it needs " + std::to_string(marker_count(target)) + " markers, the dictionary has " +
               std::to_string(markers_known));
  }
  return {};
}

Outcome<TargetArtwork> draw_scale_target(const ScaleTarget& target) {
  if (const auto sound = check_scale_target(target); !sound) return tl::unexpected(sound.error());
  const auto dictionary = marker_dictionary(target.dictionary);
  const int bits = dictionary->markerSize;
  const double bit_mm = target.marker_mm / (bits + 2);  // one bit of black border all round
  const double inset_mm = 0.5 * (target.square_mm - target.marker_mm);

  TargetArtwork artwork;
  int marker = 0;
  for (int row = 0; row < target.squares_down; ++row) {
    for (int column = 0; column < target.squares_across; ++column) {
      const double left_mm = column * target.square_mm, top_mm = row * target.square_mm;
      if (!is_white(column, row)) {
        artwork.black_mm.push_back({left_mm, top_mm, target.square_mm, target.square_mm});
        continue;
      }
      artwork.black_mm.push_back({left_mm + inset_mm, top_mm + inset_mm, target.marker_mm, target.marker_mm});
      const cv::Mat code =
          cv::aruco::Dictionary::getBitsFromByteList(dictionary->bytesList.rowRange(marker, marker + 1), bits);
      for (int i = 0; i < bits; ++i) {
        // White bits in a row make one rectangle: fewer seams for a printer to smear.
        for (int j = 0; j < bits; ++j) {
          if (code.at<unsigned char>(i, j) == 0) continue;
          const int first = j;
          while (j + 1 < bits && code.at<unsigned char>(i, j + 1) != 0) ++j;
          artwork.white_mm.push_back({left_mm + inset_mm + (first + 1) * bit_mm, top_mm + inset_mm + (i + 1) * bit_mm,
                                      (j + 1 - first) * bit_mm, bit_mm});
        }
      }
      ++marker;
    }
  }
  return artwork;
}

}  // namespace rimwright
