// Any bytes as a picture: grey (first byte even) or 16 bits deep (odd). What is read has the pixels it says, and a deep
// picture comes back from its own PNG as it was.
#include <cstdint>
#include <cstdlib>
#include <span>

#include "core/picture_files.h"

extern "C" int LLVMFuzzerTestOneInput(const std::uint8_t* data, std::size_t size) {
  using namespace rimwright;
  constexpr std::uint64_t most_pixels = 1 << 20;
  if (size == 0) return 0;
  const std::span<const unsigned char> bytes(data + 1, size - 1);
  const auto is_whole = [](const auto& picture) {
    const auto pixels = static_cast<std::uint64_t>(picture.width) * static_cast<std::uint64_t>(picture.height);
    return picture.width > 0 && picture.height > 0 && pixels <= most_pixels && picture.pixels.size() == pixels;
  };
  if (data[0] % 2 == 0) {
    const auto grey = grey_picture(bytes, most_pixels);
    if (grey && !is_whole(*grey)) std::abort();
    return 0;
  }
  const auto deep = deep_picture(bytes, most_pixels);
  if (!deep) return 0;
  if (!is_whole(*deep)) std::abort();
  const auto again = deep_picture(png_of(deep->pixels, deep->width, deep->height), most_pixels);
  if (!again || again->width != deep->width || again->pixels != deep->pixels) std::abort();
  return 0;
}
