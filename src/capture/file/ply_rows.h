// Elements of a binary PLY file row by row, where rows differ in length; and what an element may claim.
#pragma once

#include <cstdint>
#include <string>

#include "capture/file/bytes.h"
#include "capture/file/fixed_rows.h"
#include "capture/file/ply_header.h"

namespace rimwright {

// The next number of the stream; false at the end of the file.
[[nodiscard]] bool take_ply_value(ByteStream& stream, NumberType type, bool swapped, double& value);
// The next list's length, with a flag for a negative one.
[[nodiscard]] bool take_ply_list_length(ByteStream& stream, NumberType type, bool swapped, std::uint64_t& length,
                                        bool& negative);

// Walks one row; `use_value(property index, value)` for every scalar, `use_list(property index, length)` for every
// list, which returns whether it took the list's entries itself.
enum class PlyRowEnd { fine, truncated, negative_length };

template <class UseValue, class UseList>
PlyRowEnd walk_ply_row(ByteStream& stream, const PlyElement& element, bool swapped, const UseValue& use_value,
                       const UseList& use_list) {
  for (std::size_t i = 0; i < element.properties.size(); ++i) {
    const PlyProperty& property = element.properties[i];
    if (property.count_type) {
      std::uint64_t length = 0;
      bool negative = false;
      if (!take_ply_list_length(stream, *property.count_type, swapped, length, negative)) return PlyRowEnd::truncated;
      if (negative) return PlyRowEnd::negative_length;
      if (length > stream.left() / bytes_of(property.type)) return PlyRowEnd::truncated;
      if (!use_list(i, length) && !stream.skip(length * bytes_of(property.type))) return PlyRowEnd::truncated;
    } else {
      double value = 0.0;
      if (!take_ply_value(stream, property.type, swapped, value)) return PlyRowEnd::truncated;
      use_value(i, value);
    }
  }
  return PlyRowEnd::fine;
}

// The refusal that goes with a row that did not end well.
[[nodiscard]] tl::unexpected<Refusal> ply_row_refusal(const FileBytes& file, const PlyElement& element,
                                                      std::uint64_t row, PlyRowEnd end);

// Refuses an element that cannot fit in the bytes left from `offset` on.
[[nodiscard]] Outcome<void> check_ply_element_fits(const FileBytes& file, const PlyElement& element,
                                                   std::uint64_t offset, bool text);

// Where the file goes on behind an element.
struct PlyPlace {
  std::uint64_t offset = 0;
  std::uint64_t lines = 0;  // text: lines of the file so far
};

// Passes over an element of no interest. Refusals: file_truncated, file_malformed.
[[nodiscard]] Outcome<PlyPlace> skip_ply_element(const FileBytes& file, const PlyHeader& header,
                                                 const PlyElement& element, PlyPlace at);

}  // namespace rimwright
