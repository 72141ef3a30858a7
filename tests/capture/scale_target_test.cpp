#include "capture/scale_target.h"

#include <gtest/gtest.h>
#include <unistd.h>
#include <zlib.h>

#include <cmath>
#include <cstdlib>
#include <filesystem>
#include <fstream>
#include <opencv2/aruco/charuco.hpp>
#include <opencv2/calib3d.hpp>
#include <opencv2/imgcodecs.hpp>
#include <opencv2/imgproc.hpp>
#include <sstream>

namespace rimwright {
namespace {

constexpr double mm_per_point = 25.4 / 72.0;  // ISO 32000-1, 8.3.2.3: default user space

// Every compressed stream of a PDF that inflates, one after another.
std::string inflate_streams(const std::string& pdf) {
  std::string all;
  for (std::size_t at = pdf.find("stream\n"); at != std::string::npos; at = pdf.find("stream\n", at + 1)) {
    if (at >= 3 && pdf.compare(at - 3, 3, "end") == 0) continue;
    std::vector<unsigned char> out(4u << 20);
    z_stream z{};
    inflateInit(&z);
    z.next_in = reinterpret_cast<Bytef*>(const_cast<char*>(pdf.data() + at + 7));
    z.avail_in = static_cast<uInt>(pdf.size() - at - 7);
    z.next_out = out.data();
    z.avail_out = static_cast<uInt>(out.size());
    if (inflate(&z, Z_FINISH) == Z_STREAM_END) all.append(reinterpret_cast<char*>(out.data()), z.total_out);
    inflateEnd(&z);
  }
  return all;
}

struct Rectangle {
  double x, y, width, height;
};

// The rectangles of the page, whether written "x y w h re" or as four corners "x y m, x y l, ... h". Cairo writes
// them in points under matrices that only flip or scale evenly.
std::vector<Rectangle> rectangles_mm(const std::string& pdf) {
  std::istringstream words(inflate_streams(pdf));
  std::vector<Rectangle> found;
  std::vector<double> numbers;
  std::vector<cv::Point2d> path;
  std::string word;
  double scale = mm_per_point;
  while (words >> word) {
    char* end = nullptr;
    const double number = std::strtod(word.c_str(), &end);
    if (*end == '\0') {
      numbers.push_back(number);
      continue;
    }
    const std::size_t n = numbers.size();
    if (word == "cm" && n >= 6) scale *= std::abs(numbers[n - 6]);
    if (word == "re" && n >= 4) {
      found.push_back({scale * numbers[n - 4], scale * numbers[n - 3], scale * numbers[n - 2], scale * numbers[n - 1]});
    }
    if (word == "m") path.clear();
    if ((word == "m" || word == "l") && n >= 2) path.emplace_back(numbers[n - 2], numbers[n - 1]);
    if (word == "h" && path.size() == 4) {
      const cv::Point2d diagonal = path[2] - path[0];
      found.push_back({scale * path[0].x, scale * path[0].y, scale * diagonal.x, scale * diagonal.y});
    }
    numbers.clear();
  }
  return found;
}

class Sheet : public testing::TestWithParam<Paper> {};

// Cairo keeps device coordinates in steps of 1/256 point; a length has two ends.
constexpr double pdf_step_mm = 2.0 * mm_per_point / 256.0;

TEST_P(Sheet, StatesTrueSizesInItsOwnCoordinates) {
  const ScaleTarget target;
  const auto pdf = scale_target_pdf(target, GetParam());
  ASSERT_TRUE(pdf) << pdf.error().sentence();
  int bars = 0, squares = 0, markers = 0;
  for (const Rectangle& r : rectangles_mm(*pdf)) {
    if (std::abs(r.width - 100.0) < pdf_step_mm) ++bars;
    if (std::abs(r.width - 17.0) < pdf_step_mm && std::abs(r.height - 17.0) < pdf_step_mm) ++squares;
    if (std::abs(r.width - 12.75) < pdf_step_mm && std::abs(r.height - 12.75) < pdf_step_mm) ++markers;
  }
  EXPECT_EQ(bars, 1);
  EXPECT_EQ(squares, 44);
  EXPECT_EQ(markers, 44);
}

TEST_P(Sheet, IsFoundWhenRendered) {
  const auto folder = std::filesystem::path(testing::TempDir()) / ("sheet" + std::to_string(getpid()));
  std::filesystem::create_directories(folder);
  ASSERT_TRUE(write_scale_target(ScaleTarget{}, GetParam(), folder / "t.pdf"));
  const double dots_per_mm = 200.0 / 25.4;
  const std::string draw =
      "pdftoppm -r 200 -png -singlefile '" + (folder / "t.pdf").string() + "' '" + (folder / "t").string() + "'";
  ASSERT_EQ(std::system(draw.c_str()), 0);
  const cv::Mat page = cv::imread((folder / "t.png").string(), cv::IMREAD_GRAYSCALE);
  std::filesystem::remove_all(folder);
  ASSERT_FALSE(page.empty());

  // The board as OpenCV itself describes it, not as our header does.
  const auto dictionary = cv::aruco::getPredefinedDictionary(cv::aruco::DICT_5X5_100);
  const auto board = cv::aruco::CharucoBoard::create(11, 8, 17.0f, 12.75f, dictionary);
  std::vector<std::vector<cv::Point2f>> markers;
  std::vector<int> ids;
  cv::aruco::detectMarkers(page, dictionary, markers, ids);
  EXPECT_EQ(ids.size(), 44u);
  std::vector<cv::Point2f> corners;
  std::vector<int> corner_ids;
  cv::aruco::interpolateCornersCharuco(markers, ids, page, board, corners, corner_ids);
  ASSERT_EQ(corners.size(), 70u);
  cv::cornerSubPix(page, corners, {9, 9}, {-1, -1}, {cv::TermCriteria::EPS + cv::TermCriteria::MAX_ITER, 40, 1e-4});

  const std::vector<Vector3> ours = target_corners_mm(ScaleTarget{});
  ASSERT_EQ(ours.size(), 70u);
  const cv::Point2f first = corners[0];
  const Vector3 first_mm = ours[static_cast<std::size_t>(corner_ids[0])];
  for (std::size_t i = 0; i < corners.size(); ++i) {
    const Vector3 expected = (ours[static_cast<std::size_t>(corner_ids[i])] - first_mm) * dots_per_mm;
    // A rasterised edge lies within half a dot of the true one; so does the corner it is compared with.
    EXPECT_NEAR(corners[i].x - first.x, expected.x(), 1.0);
    EXPECT_NEAR(corners[i].y - first.y, expected.y(), 1.0);
  }
}

INSTANTIATE_TEST_SUITE_P(Papers, Sheet, testing::Values(Paper::a4, Paper::letter));

TEST(ScaleTarget, ImpossibleBoardsAreRefused) {
  for (const auto& spoil : std::vector<void (*)(ScaleTarget&)>{
           [](ScaleTarget& t) { t.squares_across = 2; }, [](ScaleTarget& t) { t.squares_down = 41; },
           [](ScaleTarget& t) { t.marker_mm = 17.0; }, [](ScaleTarget& t) { t.square_mm = std::nan(""); },
           [](ScaleTarget& t) { t.dictionary = "9X9_1"; },
           [](ScaleTarget& t) { t.dictionary = "5X5_50", t.squares_across = 20; },
           [](ScaleTarget& t) { t.check_bar_mm = 0.0; }}) {
    ScaleTarget target;
    ASSERT_TRUE(check_scale_target(target));
    spoil(target);
    const auto sound = check_scale_target(target);
    ASSERT_FALSE(sound);
    EXPECT_EQ(sound.error().reason, RefusalReason::settings_not_valid);
  }
  ScaleTarget large;
  large.square_mm = 30.0;
  EXPECT_TRUE(check_scale_target(large));
  EXPECT_FALSE(scale_target_pdf(large, Paper::a4));
}

TEST(ScaleTarget, AFailedWriteLeavesTheEarlierSheet) {
  const auto folder = std::filesystem::path(testing::TempDir()) / ("kept" + std::to_string(getpid()));
  std::filesystem::create_directories(folder / "t.pdf");
  EXPECT_FALSE(write_scale_target(ScaleTarget{}, Paper::a4, folder / "t.pdf"));
  EXPECT_TRUE(std::filesystem::is_directory(folder / "t.pdf"));
  EXPECT_FALSE(write_scale_target(ScaleTarget{}, Paper::a4, folder / "none" / "t.pdf"));
  EXPECT_EQ(std::distance(std::filesystem::directory_iterator(folder), std::filesystem::directory_iterator()), 1);
  std::filesystem::remove_all(folder);
}

}  // namespace
}  // namespace rimwright
