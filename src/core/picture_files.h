// JPEG (ISO/IEC 10918-1) and PNG (ISO/IEC 15948) from bytes to pixels and back, by libjpeg and libpng themselves: a
// library of all picture formats would bring a hundred more libraries, which every start of the program would load.
#pragma once

#include <cstddef>
#include <cstdint>
#include <optional>
#include <span>
#include <vector>

namespace rimwright {

template <class Pixel>
struct Picture {
  int width = 0, height = 0;
  std::vector<Pixel> pixels;  // row by row from the top
};

// A progressive JPEG may bring the whole picture again in every few bytes, thousands of times; cameras write some ten
// scans. One with more is not decoded: two megabytes can cost a minute.
inline constexpr int most_jpeg_scans = 200;

// Grey as the eye weighs it (ITU-R BT.601) from a JPEG or PNG of any colour type but CMYK, 8 bits; transparency is left
// aside, as is what EXIF says of turning. Nothing where it cannot be decoded or holds more than `most_pixels` or
// `most_jpeg_scans`.
[[nodiscard]] std::optional<Picture<std::uint8_t>> grey_picture(std::span<const unsigned char> bytes,
                                                                std::uint64_t most_pixels);

// A PNG of one channel of 16 bits, values as stored. Nothing for any other.
[[nodiscard]] std::optional<Picture<std::uint16_t>> deep_picture(std::span<const unsigned char> bytes,
                                                                 std::uint64_t most_pixels);

// rgb: three bytes a pixel; quality 1 to 100. Empty where it cannot be encoded.
[[nodiscard]] std::vector<unsigned char> jpeg_of(std::span<const std::uint8_t> rgb, int width, int height, int quality);
// Lossless, for pictures of smooth colours: rows of `stride` bytes, four bytes a pixel, blue, green, red and one
// unused. Empty where it cannot be encoded.
[[nodiscard]] std::vector<unsigned char> png_of_rows(const unsigned char* rows, std::size_t stride, int width,
                                                     int height);
// One channel of 16 bits.
[[nodiscard]] std::vector<unsigned char> png_of(std::span<const std::uint16_t> pixels, int width, int height);

}  // namespace rimwright
