// The header of a PLY file (G. Turk, The PLY Polygon File Format, 1994): elements, their counts and properties.
#pragma once

#include <cstddef>
#include <cstdint>
#include <optional>
#include <string>
#include <vector>

#include "capture/file/bytes.h"
#include "capture/file/fixed_rows.h"

namespace rimwright {

// Limits on what a header may hold.
inline constexpr std::size_t ply_most_elements = 64;
inline constexpr std::size_t ply_most_properties = 256;  // of one element
inline constexpr std::uint64_t ply_longest_header_lines = 4096;

struct PlyProperty {
  std::string name;
  NumberType type = NumberType::float32;  // of the value, or of a list's entries
  std::optional<NumberType> count_type;   // set for a list
};

struct PlyElement {
  std::string name;
  std::uint64_t count = 0;
  std::vector<PlyProperty> properties;

  [[nodiscard]] bool has_lists() const;
  [[nodiscard]] std::uint64_t least_row_bytes() const;  // binary; a list as if it were empty
};

enum class PlyEncoding { text, binary_little_endian, binary_big_endian };

struct PlyHeader {
  PlyEncoding encoding = PlyEncoding::text;
  std::vector<PlyElement> elements;
  std::uint64_t data_offset = 0;
  std::uint64_t lines = 0;
};

// Refusals: file_malformed (with the line), file_truncated, file_not_supported.
[[nodiscard]] Outcome<PlyHeader> read_ply_header(const FileBytes& file);

}  // namespace rimwright
