// LZF, the compression of binary_compressed PCD files (M. Lehmann, LibLZF): literal runs and back references.
#pragma once

#include <cstddef>
#include <cstdint>

namespace rimwright {

// One input byte yields at most this many: three bytes name a reference of 264.
inline constexpr std::uint64_t lzf_most_expansion = 88;

// Expands `in` into exactly `out_size` bytes. False when the input is damaged or of another size.
[[nodiscard]] bool expand_lzf(const std::uint8_t* in, std::size_t in_size, std::uint8_t* out, std::size_t out_size);

}  // namespace rimwright
