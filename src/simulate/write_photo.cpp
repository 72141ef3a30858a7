#include "simulate/write_photo.h"

#include <cmath>
#include <fstream>
#include <nlohmann/json.hpp>
#include <opencv2/imgproc.hpp>

#include "core/picture_files.h"

namespace rimwright {
namespace {

using Bytes = std::vector<unsigned char>;

void put16(Bytes& bytes, unsigned value) {
  bytes.push_back(static_cast<unsigned char>(value >> 8));
  bytes.push_back(static_cast<unsigned char>(value & 0xFF));
}
void put32(Bytes& bytes, unsigned value) {
  put16(bytes, value >> 16);
  put16(bytes, value & 0xFFFF);
}
void put_entry(Bytes& bytes, unsigned tag, unsigned type, unsigned count, unsigned value) {
  put16(bytes, tag);
  put16(bytes, type);
  put32(bytes, count);
  const bool is_short = type == 3;
  put32(bytes, is_short ? value << 16 : value);
}

Outcome<void> write_bytes(const Bytes& bytes, const std::filesystem::path& path) {
  std::ofstream file(path, std::ios::binary);
  file.write(reinterpret_cast<const char*>(bytes.data()), static_cast<std::streamsize>(bytes.size()));
  file.close();
  if (file) return {};
  return refuse(RefusalReason::output_not_writable, "'" + path.string() + "' could not be written",
                "check that its folder exists, is writable and has room");
}

nlohmann::json rows_of(const Transform& T) {
  nlohmann::json rows = nlohmann::json::array();
  for (int i = 0; i < 3; ++i) rows.push_back({T(i, 0), T(i, 1), T(i, 2), T(i, 3)});
  return rows;
}

}  // namespace

Bytes exif_segment(const std::string& model, double focal_mm_35) {
  Bytes tiff = {'M', 'M', 0, 42};
  put32(tiff, 8);
  constexpr unsigned entries = 3, directory_end = 8 + 2 + entries * 12 + 4;
  const auto model_size = static_cast<unsigned>(model.size() + 1);
  const unsigned exif_at = directory_end + (model_size + 1) / 2 * 2;
  put16(tiff, entries);
  put_entry(tiff, 0x0110, 2, model_size, directory_end);  // Model
  put_entry(tiff, 0x0112, 3, 1, 1);                       // Orientation: as stored
  put_entry(tiff, 0x8769, 4, 1, exif_at);                 // Exif directory
  put32(tiff, 0);
  tiff.insert(tiff.end(), model.begin(), model.end());
  tiff.resize(exif_at, 0);
  put16(tiff, 1);
  put_entry(tiff, 0xA405, 3, 1, static_cast<unsigned>(std::lround(focal_mm_35)));  // FocalLengthIn35mmFilm
  put32(tiff, 0);

  Bytes segment = {0xFF, 0xE1};
  put16(segment, static_cast<unsigned>(tiff.size() + 8));
  for (char c : std::string("Exif")) segment.push_back(static_cast<unsigned char>(c));
  put16(segment, 0);
  segment.insert(segment.end(), tiff.begin(), tiff.end());
  return segment;
}

Outcome<void> write_photo(const RawPhoto& raw, const PhoneCamera& phone, const std::filesystem::path& path) {
  const cv::Mat linear(raw.height, raw.width, CV_32F, const_cast<float*>(raw.linear.data()));
  cv::Mat clipped, blurred, toned(raw.height, raw.width, CV_32F);
  clipped = cv::max(cv::min(linear, 1.0f), 0.0f);
  // Gamma with a slight S: what phones do so that pictures look lively.
  for (int row = 0; row < raw.height; ++row) {
    const auto* in = clipped.ptr<float>(row);
    auto* out = toned.ptr<float>(row);
    for (int column = 0; column < raw.width; ++column) {
      const float v = std::pow(in[column], 1.0f / 2.2f);
      out[column] = 0.75f * v + 0.25f * v * v * (3.0f - 2.0f * v);
    }
  }
  cv::GaussianBlur(toned, blurred, {}, 1.0);
  const cv::Mat sharp = toned + phone.sharpening * (toned - blurred);
  // The colour of wood, so that the file is a colour picture as a phone's is.
  std::vector<cv::Mat> channels(3);
  const std::array<double, 3> red_green_blue{1.0, 0.90, 0.72};
  for (std::size_t i = 0; i < 3; ++i) sharp.convertTo(channels[i], CV_8U, 255.0 * red_green_blue[i]);
  cv::Mat picture;
  cv::merge(channels, picture);
  Bytes jpeg = jpeg_of({picture.data, picture.total() * 3}, picture.cols, picture.rows, phone.jpeg_quality);
  if (jpeg.empty()) {
    return refuse(RefusalReason::output_not_writable, "a photo could not be encoded", "make the photo smaller");
  }
  const Bytes exif = exif_segment(phone.model, phone.focal_mm_35);
  jpeg.insert(jpeg.begin() + 2, exif.begin(), exif.end());
  return write_bytes(jpeg, path);
}

Outcome<void> write_photo_truth(const PhotoScene& scene, const std::vector<PhotoTruth>& truths,
                                const std::filesystem::path& path) {
  nlohmann::json json;
  json["units"] = "mm";
  json["pixel_origin"] = "centre of the top left pixel";
  json["target"] = {{"present", scene.target.present},
                    {"T_body_target", rows_of(scene.target.T_body_target)},
                    {"print_scale", scene.target.print_scale},
                    {"bow_mm", scene.target.bow_mm}};
  for (const PhotoTruth& t : truths) {
    json["photos"].push_back({{"name", t.name},
                              {"T_camera_body", rows_of(t.T_camera_body)},
                              {"focal_px", {t.fx, t.fy}},
                              {"principal_px", {t.cx, t.cy}},
                              {"k1_k2_p1_p2", t.k1_k2_p1_p2}});
  }
  const std::string text = json.dump(1) + "\n";
  return write_bytes(Bytes(text.begin(), text.end()), path);
}

}  // namespace rimwright
