// From light on the sensor to the file a phone saves: tone curve, sharpening, JPEG, EXIF; and the truth beside it.
#pragma once

#include <filesystem>
#include <vector>

#include "simulate/photo_camera.h"

namespace rimwright {

struct RawPhoto {
  int width = 0, height = 0;
  std::vector<float> linear;  // row-major, 1 = end of the scale
};

// Refuses (output_not_writable) where the file cannot be written.
[[nodiscard]] Outcome<void> write_photo(const RawPhoto& raw, const PhoneCamera& phone,
                                        const std::filesystem::path& path);
[[nodiscard]] Outcome<void> write_photo_truth(const PhotoScene& scene, const std::vector<PhotoTruth>& truths,
                                              const std::filesystem::path& path);

// An EXIF segment (Exif 2.32, TIFF 6.0, big-endian) with camera model, orientation and 35 mm focal length, ready to be
// put after the first two bytes of a JPEG.
[[nodiscard]] std::vector<unsigned char> exif_segment(const std::string& model, double focal_mm_35);

}  // namespace rimwright
