#include "capture/file/lzf.h"

#include <cstring>

namespace rimwright {

bool expand_lzf(const std::uint8_t* in, std::size_t in_size, std::uint8_t* out, std::size_t out_size) {
  std::size_t i = 0, o = 0;
  while (i < in_size) {
    const std::size_t control = in[i++];
    if (control < 32) {  // a literal run
      const std::size_t length = control + 1;
      if (length > in_size - i || length > out_size - o) return false;
      std::memcpy(out + o, in + i, length);
      i += length;
      o += length;
      continue;
    }
    std::size_t length = control >> 5U;
    if (length == 7) {
      if (i == in_size) return false;
      length += in[i++];
    }
    length += 2;
    if (i == in_size) return false;
    const std::size_t distance = ((control & 31U) << 8U) + in[i++] + 1;
    if (distance > o || length > out_size - o) return false;
    // The reference may overlap what it writes, so bytes go one by one.
    for (std::size_t k = 0; k < length; ++k, ++o) out[o] = out[o - distance];
  }
  return o == out_size;
}

}  // namespace rimwright
