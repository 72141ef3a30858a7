// Pictures against another library's encoders and decoders (OpenCV's image codecs).
#include "core/picture_files.h"

#include <gtest/gtest.h>

#include <algorithm>
#include <cstdio>
#include <cstdlib>
#include <opencv2/imgcodecs.hpp>
#include <random>
// Behind <cstdio>, which it needs and does not include.
#include <jpeglib.h>

namespace rimwright {
namespace {

using Bytes = std::vector<unsigned char>;

// Smooth with some noise, so that a shift or a swapped channel shows.
cv::Mat painted(int type) {
  std::mt19937 random(4);
  std::uniform_int_distribution<int> noise(0, 9);
  cv::Mat picture(37, 53, type);
  const int channels = picture.channels();
  for (int row = 0; row < picture.rows; ++row)
    for (int column = 0; column < picture.cols; ++column)
      for (int c = 0; c < channels; ++c) {
        const int value = 3 * row + 2 * (c + 1) * column / 3 + 20 * c + noise(random);
        if (picture.depth() == CV_16U)
          picture.ptr<std::uint16_t>(row)[column * channels + c] = static_cast<std::uint16_t>(257 * (value % 256) + c);
        else
          picture.ptr<std::uint8_t>(row)[column * channels + c] = static_cast<std::uint8_t>(value % 256);
      }
  return picture;
}

Bytes encoded(const char* ending, const cv::Mat& picture) {
  Bytes bytes;
  cv::imencode(ending, picture, bytes);
  return bytes;
}

constexpr std::uint64_t plenty = 1'000'000;

TEST(PictureFiles, GreyIsWhatTheOtherDecoderGives) {
  for (const char* ending : {".jpg", ".png"})
    for (const int type : {CV_8UC1, CV_8UC3, CV_8UC4, CV_16UC1, CV_16UC3}) {
      if (ending[1] == 'j' && type != CV_8UC1 && type != CV_8UC3) continue;
      const Bytes bytes = encoded(ending, painted(type));
      const cv::Mat expected = cv::imdecode(bytes, cv::IMREAD_GRAYSCALE | cv::IMREAD_IGNORE_ORIENTATION);
      const auto picture = grey_picture(bytes, plenty);
      ASSERT_TRUE(picture) << ending << type;
      ASSERT_EQ(picture->width, expected.cols);
      ASSERT_EQ(picture->height, expected.rows);
      EXPECT_EQ(picture->pixels, Bytes(expected.begin<std::uint8_t>(), expected.end<std::uint8_t>())) << ending << type;
    }
}

TEST(PictureFiles, SixteenBitsComeAndGoUnchanged) {
  const cv::Mat depth = painted(CV_16UC1);
  const std::vector<std::uint16_t> pixels(depth.begin<std::uint16_t>(), depth.end<std::uint16_t>());
  const auto read = deep_picture(encoded(".png", depth), plenty);
  ASSERT_TRUE(read);
  EXPECT_EQ(read->width, depth.cols);
  EXPECT_EQ(read->pixels, pixels);

  const cv::Mat written = cv::imdecode(png_of(pixels, depth.cols, depth.rows), cv::IMREAD_UNCHANGED);
  ASSERT_EQ(written.type(), CV_16UC1);
  EXPECT_EQ(std::vector<std::uint16_t>(written.begin<std::uint16_t>(), written.end<std::uint16_t>()), pixels);
  for (const int other : {CV_8UC1, CV_16UC3}) EXPECT_FALSE(deep_picture(encoded(".png", painted(other)), plenty));
}

// JPEG loses up to its quantisation: at quality 95 no mean may move by a grey value, and few pixels by more than eight.
TEST(PictureFiles, AWrittenJpegShowsThePicture) {
  const cv::Mat bgr = painted(CV_8UC3);
  std::vector<std::uint8_t> rgb;
  for (int i = 0; i < static_cast<int>(bgr.total()); ++i)
    for (int c = 2; c >= 0; --c) rgb.push_back(bgr.data[3 * i + c]);
  const Bytes bytes = jpeg_of(rgb, bgr.cols, bgr.rows, 95);
  EXPECT_EQ(bytes, encoded(".jpg", bgr));  // the same library beneath, and its default is 95
  const cv::Mat shown = cv::imdecode(bytes, cv::IMREAD_COLOR);
  ASSERT_EQ(shown.size(), bgr.size());
  for (int c = 0; c < 3; ++c) EXPECT_NEAR(cv::mean(shown)[c], cv::mean(bgr)[c], 1.0);
}

// A progressive JPEG in that many scans, up to 379, as ISO/IEC 10918-1, G.1.1.1 (from memory) allows them: the means of
// the blocks, then every other coefficient of every colour but for its last bit, then the last bits.
Bytes jpeg_in_scans(const cv::Mat& bgr, std::size_t scans) {
  std::vector<jpeg_scan_info> script{{3, {0, 1, 2, 0}, 0, 0, 0, 0}};
  for (const auto& [high, low] : {std::pair(0, 1), std::pair(1, 0)})
    for (int colour = 0; colour < 3; ++colour)
      for (int k = 1; k < 64; ++k) script.push_back({1, {colour, 0, 0, 0}, k, k, high, low});
  script.resize(scans);

  jpeg_compress_struct jpeg{};
  jpeg_error_mgr errors{};  // ends the process where the script is not allowed
  jpeg.err = jpeg_std_error(&errors);
  jpeg_create_compress(&jpeg);
  unsigned char* buffer = nullptr;
  unsigned long size = 0;
  jpeg_mem_dest(&jpeg, &buffer, &size);
  jpeg.image_width = static_cast<JDIMENSION>(bgr.cols);
  jpeg.image_height = static_cast<JDIMENSION>(bgr.rows);
  jpeg.input_components = 3;
  jpeg.in_color_space = JCS_RGB;  // red and blue change places: any picture will do
  jpeg_set_defaults(&jpeg);
  jpeg.num_scans = static_cast<int>(scans);
  jpeg.scan_info = script.data();
  jpeg_start_compress(&jpeg, TRUE);
  for (int row = 0; row < bgr.rows; ++row) {
    auto* samples = const_cast<JSAMPLE*>(bgr.ptr<JSAMPLE>(row));
    jpeg_write_scanlines(&jpeg, &samples, 1);
  }
  jpeg_finish_compress(&jpeg);
  jpeg_destroy_compress(&jpeg);
  Bytes bytes(buffer, buffer + size);
  std::free(buffer);
  return bytes;
}

// A scan begins at the marker FF DA; data are written so that they never hold it.
Bytes::const_iterator last_scan(const Bytes& jpeg) {
  const unsigned char start_of_scan[] = {0xFF, 0xDA};
  return std::find_end(jpeg.begin(), jpeg.end(), std::begin(start_of_scan), std::end(start_of_scan));
}

TEST(PictureFiles, AJpegOfTooManyScansIsNone) {
  const cv::Mat painting = painted(CV_8UC3);
  const Bytes most = jpeg_in_scans(painting, most_jpeg_scans);
  const auto picture = grey_picture(most, plenty);
  ASSERT_TRUE(picture);
  const cv::Mat expected = cv::imdecode(most, cv::IMREAD_GRAYSCALE);
  EXPECT_EQ(picture->pixels, Bytes(expected.begin<std::uint8_t>(), expected.end<std::uint8_t>()));
  EXPECT_FALSE(grey_picture(jpeg_in_scans(painting, most_jpeg_scans + 1), plenty));

  // What a hostile file does: one scan of few bytes, again and again. A minute of decoding, were there no limit.
  const cv::Mat plain(6000, 8000, CV_8UC3, cv::Scalar(90, 120, 200));
  Bytes bomb = jpeg_in_scans(plain, 2);
  const Bytes scan(last_scan(bomb), bomb.cend() - 2);  // before the end of the image
  EXPECT_LT(scan.size(), 500U);
  bomb.resize(bomb.size() - 2);
  for (int i = 0; i < 20'000; ++i) bomb.insert(bomb.end(), scan.begin(), scan.end());
  bomb.insert(bomb.end(), {0xFF, 0xD9});
  EXPECT_FALSE(grey_picture(bomb, 100'000'000));
}

TEST(PictureFiles, BrokenOrGiganticOnesAreNone) {
  for (const char* ending : {".jpg", ".png"}) {
    const Bytes bytes = encoded(ending, painted(CV_8UC3));
    EXPECT_FALSE(grey_picture(bytes, 37 * 53 - 1));
    EXPECT_TRUE(grey_picture(bytes, 37 * 53));
    EXPECT_FALSE(grey_picture(Bytes(bytes.begin(), bytes.begin() + 20), plenty));
    std::mt19937 random(9);
    for (int i = 0; i < 2000; ++i) {  // any answer will do, as long as there is one
      Bytes broken = bytes;
      for (int k = 0; k < 3; ++k) broken[random() % broken.size()] = static_cast<unsigned char>(random());
      if (i % 4 == 0) broken.resize(random() % broken.size());
      const auto picture = grey_picture(broken, plenty);
      EXPECT_TRUE(!picture || picture->pixels.size() <= plenty);
    }
  }
  EXPECT_FALSE(grey_picture({}, plenty));
  EXPECT_FALSE(deep_picture({}, plenty));
  const Bytes deep = encoded(".png", painted(CV_16UC1));
  EXPECT_FALSE(deep_picture(Bytes(deep.begin(), deep.end() - 40), plenty));
}

}  // namespace
}  // namespace rimwright
