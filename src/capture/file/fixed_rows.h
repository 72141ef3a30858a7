// Points in rows of fixed size (binary PLY and PCD): read and decoded in chunks, side by side.
#pragma once

#include <array>
#include <cstddef>
#include <cstdint>
#include <string_view>

#include "capture/file/bytes.h"
#include "capture/file/cloud_arrays.h"
#include "capture/file_hash.h"

namespace rimwright {

enum class NumberType : std::uint8_t { int8, uint8, int16, uint16, int32, uint32, int64, uint64, float32, float64 };
[[nodiscard]] std::size_t bytes_of(NumberType type);
// The number at `at`, as double. `swapped`: in the other byte order than this machine's (little endian).
[[nodiscard]] double number_at(const char* at, NumberType type, bool swapped);
// What one unit of a colour channel of this type is in steps of 1/255: floats run 0..1, 16-bit values 0..65535.
[[nodiscard]] double colour_scale(NumberType type);

struct FieldPlace {
  bool present = false;
  NumberType type = NumberType::float32;
  std::size_t offset = 0;  // bytes from the start of the row
  std::size_t stride = 0;  // bytes from one point to the next
};

struct RowFormat {
  std::array<FieldPlace, stored_field_count> fields;  // by PointField; x, y and z are always present
  std::size_t row_bytes = 0;
  bool swapped = false;
  std::size_t points_a_normal = 1;  // see PresentArrays; where there are normals at all

  [[nodiscard]] FieldPlace& at(PointField field) { return fields[static_cast<std::size_t>(field)]; }
  [[nodiscard]] const FieldPlace& at(PointField field) const { return fields[static_cast<std::size_t>(field)]; }
  [[nodiscard]] PresentArrays present() const;
};

// How many points of a dense scan share a normal: as few as tell, all over the surface, on which side the air is.
[[nodiscard]] std::size_t points_a_normal_of(std::uint64_t points);

// Decodes `count` points at `rows` into entries [at, at + count) of the cloud's arrays, which exist already, and the
// normals that are kept of them.
void decode_rows(const char* rows, std::size_t count, const RowFormat& format, Cloud& into, std::size_t at);

// A local origin from rows spread over the whole file, so that neither the first point nor strays decide it.
[[nodiscard]] Vector3 origin_of_rows(const FileBytes& file, std::uint64_t offset, std::uint64_t count,
                                     const RowFormat& format);

// Hands over `count` rows that start at `offset`, in blocks of at most `block_points`. The caller has checked that the
// file holds them. Where they come as one block, `hash`, if given, is told of the bytes.
[[nodiscard]] Outcome<void> read_fixed_rows(const FileBytes& file, std::uint64_t offset, std::uint64_t count,
                                            const RowFormat& format, std::size_t block_points, Workers& workers,
                                            const UseBlock& use_block, FileHash* hash = nullptr);

}  // namespace rimwright
