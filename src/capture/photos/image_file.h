// What an image file says of itself before anything is decoded: kind, size, whether it is whole, EXIF.
#pragma once

#include <cstdint>
#include <string>
#include <vector>

#include "core/refusal.h"

namespace rimwright {

enum class ImageKind { jpeg, png, heic };

struct ImageNotes {
  ImageKind kind = ImageKind::jpeg;
  int width = 0, height = 0;  // as stored; 0 for HEIC, whose decoder says
  double focal_mm_35 = 0.0;   // 0 = not stated
  std::string phone;
};

// Reads the notes of JPEG (ISO/IEC 10918-1 markers, Exif 2.32), PNG (ISO/IEC 15948 chunks) and HEIC (brand only).
// Refuses: not an image of these kinds (file_not_supported), broken markers (file_malformed), a JPEG without end
// marker or a PNG without IEND (file_truncated).
[[nodiscard]] Outcome<ImageNotes> read_image_notes(const std::vector<unsigned char>& bytes);

// Camera model and 35 mm focal length from an EXIF block (TIFF structure); fields that are absent or broken stay empty.
void read_exif(const unsigned char* tiff, std::size_t size, ImageNotes& notes);

}  // namespace rimwright
