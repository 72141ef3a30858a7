#include "capture/photos/read_photos.h"

#include <gmock/gmock.h>
#include <gtest/gtest.h>
#include <libheif/heif.h>
#include <unistd.h>

#include <algorithm>
#include <filesystem>
#include <fstream>
#include <opencv2/imgcodecs.hpp>
#include <opencv2/imgproc.hpp>
#include <string_view>

#include "capture/photos/image_file.h"

namespace rimwright {
namespace {

namespace fs = std::filesystem;
using Bytes = std::vector<unsigned char>;

cv::Mat textured(int width, int height, int seed) {
  cv::Mat picture(height, width, CV_8UC3);
  cv::RNG dice(static_cast<std::uint64_t>(seed));
  dice.fill(picture, cv::RNG::UNIFORM, 60, 190);
  cv::GaussianBlur(picture, picture, {}, 1.0);
  cv::circle(picture, {width / 3, height / 3}, 60, {250, 20, 20}, cv::FILLED);
  return picture;
}

Bytes jpeg_of(const cv::Mat& picture) {
  Bytes bytes;
  cv::imencode(".jpg", picture, bytes);
  return bytes;
}

Bytes heic_of(const cv::Mat& picture) {
  cv::Mat rgb;
  cv::cvtColor(picture, rgb, cv::COLOR_BGR2RGB);
  heif_context* context = heif_context_alloc();
  heif_encoder* encoder = nullptr;
  heif_image* image = nullptr;
  heif_image_handle* handle = nullptr;
  Bytes bytes;
  heif_writer writer{1, [](heif_context*, const void* data, std::size_t size, void* into) {
                       const auto* first = static_cast<const unsigned char*>(data);
                       static_cast<Bytes*>(into)->assign(first, first + size);
                       return heif_error{heif_error_Ok, heif_suberror_Unspecified, ""};
                     }};
  EXPECT_EQ(heif_context_get_encoder_for_format(context, heif_compression_HEVC, &encoder).code, heif_error_Ok);
  heif_encoder_set_lossy_quality(encoder, 95);
  heif_image_create(rgb.cols, rgb.rows, heif_colorspace_RGB, heif_chroma_interleaved_RGB, &image);
  heif_image_add_plane(image, heif_channel_interleaved, rgb.cols, rgb.rows, 8);
  int stride = 0;
  std::uint8_t* plane = heif_image_get_plane(image, heif_channel_interleaved, &stride);
  for (int row = 0; row < rgb.rows; ++row) std::copy_n(rgb.ptr<std::uint8_t>(row), 3 * rgb.cols, plane + row * stride);
  EXPECT_EQ(heif_context_encode_image(context, image, encoder, nullptr, &handle).code, heif_error_Ok);
  EXPECT_EQ(heif_context_write(context, &writer, &bytes).code, heif_error_Ok);
  heif_image_handle_release(handle);
  heif_image_release(image);
  heif_encoder_release(encoder);
  heif_context_free(context);
  return bytes;
}

// The same file with another size in its 'ispe' box, which is what a HEIC says of its size before it is decoded
// (ISO/IEC 23008-12, 6.5.3: version and flags, then width and height, four bytes each).
Bytes claiming(Bytes heic, std::uint32_t width, std::uint32_t height) {
  constexpr std::string_view box = "ispe";
  const auto found = std::search(heic.begin(), heic.end(), box.begin(), box.end());
  EXPECT_GE(heic.end() - found, 16);
  for (std::ptrdiff_t i = 0; i < 4; ++i) {
    found[8 + i] = static_cast<unsigned char>(width >> (24 - 8 * i));
    found[12 + i] = static_cast<unsigned char>(height >> (24 - 8 * i));
  }
  return heic;
}

// An EXIF segment by hand, little-endian: model "Pho" in place, Exif directory with FocalLengthIn35mmFilm = 26.
Bytes with_exif(Bytes jpeg) {
  Bytes tiff = {'I', 'I', 42, 0, 8, 0, 0, 0, 2, 0};
  const Bytes model = {0x10, 0x01, 2, 0, 4, 0, 0, 0, 'P', 'h', 'o', 0};
  const Bytes directory = {0x69, 0x87, 4, 0, 1, 0, 0, 0, 38, 0, 0, 0, 0, 0, 0, 0};
  const Bytes focal = {1, 0, 0x05, 0xA4, 3, 0, 1, 0, 0, 0, 26, 0, 0, 0, 0, 0, 0, 0};
  for (const Bytes& part : {model, directory, focal}) tiff.insert(tiff.end(), part.begin(), part.end());
  Bytes segment = {0xFF, 0xE1, 0, static_cast<unsigned char>(tiff.size() + 8), 'E', 'x', 'i', 'f', 0, 0};
  segment.insert(segment.end(), tiff.begin(), tiff.end());
  jpeg.insert(jpeg.begin() + 2, segment.begin(), segment.end());
  return jpeg;
}

class ReadPhotos : public testing::Test {
 protected:
  void SetUp() override {
    folder = fs::path(testing::TempDir()) / ("photos" + std::to_string(getpid()));
    fs::remove_all(folder);
    fs::create_directories(folder);
  }
  void TearDown() override { fs::remove_all(folder); }
  void put(const std::string& name, const Bytes& bytes) const {
    std::ofstream(folder / name, std::ios::binary)
        .write(reinterpret_cast<const char*>(bytes.data()), static_cast<std::streamsize>(bytes.size()));
  }
  void put_good(int count) const {
    for (int i = 0; i < count; ++i) put("good" + std::to_string(i) + ".jpg", jpeg_of(textured(800, 600, 10 + i)));
  }
  [[nodiscard]] std::string why(const PhotoSet& set, const std::string& name) const {
    for (const LeftOutPhoto& photo : set.left_out) {
      if (photo.name == name) return photo.why;
    }
    return "used";
  }
  fs::path folder;
  Workers workers{2};
};

TEST_F(ReadPhotos, UselessPhotosAreNamedAndTheRestUsed) {
  put_good(4);
  Bytes cut = jpeg_of(textured(800, 600, 50));
  cut.resize(cut.size() * 2 / 3);
  put("cut.jpg", cut);
  put("again.JPG", jpeg_of(textured(800, 600, 10)));  // comes first by name; its double is then good0.jpg
  put("words.jpg", Bytes{'h', 'e', 'l', 'l', 'o'});
  put("nothing.jpeg", {});
  cv::Mat soft;
  cv::GaussianBlur(textured(800, 600, 51), soft, {}, 9.0);
  put("soft.jpg", jpeg_of(soft));
  put("dark.jpg", jpeg_of(textured(800, 600, 52) * 0.05));
  put("white.jpg", jpeg_of(cv::Mat(600, 800, CV_8UC3, cv::Scalar(255, 255, 255))));
  put("tiny.jpg", jpeg_of(textured(300, 200, 53)));
  put("notes.txt", {'x'});
  put("film.mp4", {'x'});
  fs::create_directories(folder / "inner.jpg");
  const auto set = read_photos(folder, {}, workers);
  ASSERT_TRUE(set) << set.error().sentence();
  EXPECT_EQ(set->photos.size(), 4u);
  EXPECT_EQ(set->other_files, 2u);
  EXPECT_THAT(why(*set, "cut.jpg"), testing::HasSubstr("ends in the middle"));
  EXPECT_THAT(why(*set, "good0.jpg"), testing::HasSubstr("same picture as again.JPG"));
  EXPECT_THAT(why(*set, "words.jpg"), testing::HasSubstr("no JPEG"));
  EXPECT_THAT(why(*set, "nothing.jpeg"), testing::HasSubstr("no JPEG"));
  EXPECT_EQ(why(*set, "soft.jpg"), "blurred");
  EXPECT_EQ(why(*set, "dark.jpg"), "too dark");
  EXPECT_EQ(why(*set, "white.jpg"), "overexposed");
  EXPECT_EQ(why(*set, "tiny.jpg"), "too small to measure in");
}

TEST_F(ReadPhotos, ABackdropIsNoExposure) {
  for (const int level : {0, 255}) {
    const std::string name = level == 0 ? "black" : "white";
    cv::Mat before(600, 800, CV_8UC3, cv::Scalar::all(level));
    cv::Mat wood = textured(800, 600, 60 + level);
    put(name + "_none.jpg", jpeg_of(before));
    wood(cv::Rect(0, 0, 800, 72)).copyTo(before(cv::Rect(0, 264, 800, 72)));  // 12 % of the picture
    put(name + ".jpg", jpeg_of(before));
  }
  put_good(3);
  const auto set = read_photos(folder, {}, workers);
  ASSERT_TRUE(set) << set.error().sentence();
  EXPECT_EQ(why(*set, "black.jpg"), "used");
  EXPECT_EQ(why(*set, "white.jpg"), "used");
  EXPECT_EQ(why(*set, "black_none.jpg"), "too dark");
  EXPECT_EQ(why(*set, "white_none.jpg"), "overexposed");
}

TEST_F(ReadPhotos, TooFewAreRefused) {
  put_good(2);
  const auto set = read_photos(folder, {}, workers);
  ASSERT_FALSE(set);
  EXPECT_EQ(set.error().reason, RefusalReason::capture_insufficient);
  EXPECT_FALSE(read_photos(folder / "none", {}, workers));
}

TEST_F(ReadPhotos, AGiganticClaimIsNotBelieved) {
  put_good(3);
  // A PNG header that claims 60000 x 60000 pixels; the chunk checksums do not matter before decoding.
  Bytes png;
  cv::imencode(".png", textured(640, 500, 1), png);
  for (std::size_t at : {16u, 20u}) png[at] = 0, png[at + 1] = 0, png[at + 2] = 0xEA, png[at + 3] = 0x60;
  put("huge.png", png);
  const auto set = read_photos(folder, {}, workers);
  ASSERT_TRUE(set);
  EXPECT_THAT(why(*set, "huge.png"), testing::HasSubstr("120 megapixels"));
  ReadPhotosSettings few;
  few.most_photos = 3;
  EXPECT_EQ(read_photos(folder, few, workers).error().reason, RefusalReason::file_over_limit);
  few.most_photos = 4;
  few.most_pixels = 3 * 800 * 600;
  EXPECT_TRUE(read_photos(folder, few, workers));
  --few.most_pixels;
  EXPECT_EQ(read_photos(folder, few, workers).error().reason, RefusalReason::file_over_limit);
}

TEST_F(ReadPhotos, ALargeFileIsNotRead) {
  put_good(4);
  ReadPhotosSettings settings;
  settings.largest_file_bytes = 1'000'000;
  fs::resize_file(folder / "good0.jpg", 1'000'000);  // bytes behind the end of the picture are none of its business
  fs::resize_file(folder / "good1.jpg", 1'000'001);
  const auto set = read_photos(folder, settings, workers);
  ASSERT_TRUE(set) << set.error().sentence();
  EXPECT_EQ(why(*set, "good0.jpg"), "used");
  EXPECT_THAT(why(*set, "good1.jpg"), testing::HasSubstr("larger than"));
}

// What a HEIC says of its size counts before it is decoded, what is found in it after that.
TEST_F(ReadPhotos, AHeicIsNoLargerThanAPhoto) {
  const Bytes heic = heic_of(textured(800, 600, 78));
  put("says_120.heic", claiming(heic, 12'000, 10'000));  // 120 million pixels, the limit
  put("says_more.heic", claiming(heic, 12'000, 10'001));
  put_good(3);
  const auto set = read_photos(folder, {}, workers);
  ASSERT_TRUE(set) << set.error().sentence();
  EXPECT_EQ(why(*set, "says_120.heic"), "used");
  EXPECT_THAT(why(*set, "says_more.heic"), testing::HasSubstr("more than 120 megapixels"));

  fs::remove(folder / "says_120.heic");
  put("says_less.heic", claiming(heic, 40, 30));
  ReadPhotosSettings settings;
  settings.largest_photo_pixels = 800 * 600;
  EXPECT_EQ(why(read_photos(folder, settings, workers).value(), "says_less.heic"), "used");
  for (int i = 0; i < 3; ++i) put("good" + std::to_string(i) + ".jpg", jpeg_of(textured(799, 600, 10 + i)));
  --settings.largest_photo_pixels;
  EXPECT_THAT(why(read_photos(folder, settings, workers).value(), "says_less.heic"), testing::HasSubstr("megapixels"));
}

// Both sides of the limit for the other formats, whose size is read by our own code.
TEST_F(ReadPhotos, APictureOfJustTheLargestSizeIsRead) {
  put_good(3);
  Bytes png;
  cv::imencode(".png", textured(801, 600, 1), png);
  put("more.png", png);
  put("more.jpg", jpeg_of(textured(800, 601, 2)));
  ReadPhotosSettings settings;
  settings.largest_photo_pixels = 800 * 600;
  const auto set = read_photos(folder, settings, workers);
  ASSERT_TRUE(set) << set.error().sentence();
  EXPECT_EQ(set->photos.size(), 3u);
  EXPECT_THAT(why(*set, "more.png"), testing::HasSubstr("megapixels"));
  EXPECT_THAT(why(*set, "more.jpg"), testing::HasSubstr("megapixels"));
}

TEST_F(ReadPhotos, ExifFocalLengthAndPhoneMakeTheLens) {
  put_good(2);
  for (int i = 0; i < 2; ++i) {
    put("exif" + std::to_string(i) + ".jpg", with_exif(jpeg_of(textured(800, 600, 30 + i))));
  }
  const auto set = read_photos(folder, {}, workers);
  ASSERT_TRUE(set);
  ASSERT_EQ(set->photos.size(), 4u);
  EXPECT_EQ(set->lens_count, 2u);
  EXPECT_EQ(set->photos[0].focal_mm_35, 26.0);
  EXPECT_EQ(set->photos[0].phone, "Pho");
  EXPECT_EQ(set->photos[0].lens, set->photos[1].lens);
  EXPECT_NE(set->photos[0].lens, set->photos[2].lens);
}

TEST_F(ReadPhotos, BrokenExifIsIgnored) {
  const Bytes whole = with_exif(jpeg_of(textured(64, 48, 1)));
  int read = 0;
  for (std::size_t at = 12; at < 68; ++at) {  // every byte of the EXIF block spoilt in turn
    Bytes spoilt = whole;
    spoilt[at] = 0xFF;
    if (read_image_notes(spoilt)) ++read;
  }
  EXPECT_EQ(read, 56);  // spoilt notes never cost the photo
}

TEST_F(ReadPhotos, HeicIsRead) {
  const cv::Mat picture = textured(800, 600, 77);
  Bytes half = heic_of(picture);
  put("a.heic", half);
  half.resize(half.size() / 2);
  put("half.heic", half);
  put_good(2);
  const auto set = read_photos(folder, {}, workers);
  ASSERT_TRUE(set) << set.error().sentence();
  ASSERT_EQ(set->photos.size(), 3u);
  EXPECT_EQ(set->photos[0].name, "a.heic");
  EXPECT_THAT(why(*set, "half.heic"), testing::HasSubstr("cannot be decoded"));
  cv::Mat grey;
  cv::cvtColor(picture, grey, cv::COLOR_BGR2GRAY);
  const cv::Mat read(600, 800, CV_8U, const_cast<std::uint8_t*>(set->photos[0].grey.data()));
  // A lossy format at quality 95: a few grey levels of 255 in the mean.
  EXPECT_LT(cv::norm(grey, read, cv::NORM_L1) / static_cast<double>(grey.total()), 4.0);
}

}  // namespace
}  // namespace rimwright
