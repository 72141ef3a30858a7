#include "capture/file/ply_rows.h"

#include <algorithm>
#include <array>
#include <string_view>

namespace rimwright {

bool take_ply_value(ByteStream& stream, NumberType type, bool swapped, double& value) {
  std::array<char, 8> bytes{};
  if (!stream.take(bytes.data(), bytes_of(type))) return false;
  value = number_at(bytes.data(), type, swapped);
  return true;
}

bool take_ply_list_length(ByteStream& stream, NumberType type, bool swapped, std::uint64_t& length, bool& negative) {
  double value = 0.0;
  if (!take_ply_value(stream, type, swapped, value)) return false;
  negative = value < 0.0;
  length = negative ? 0 : static_cast<std::uint64_t>(value);
  return true;
}

tl::unexpected<Refusal> ply_row_refusal(const FileBytes& file, const PlyElement& element, std::uint64_t row,
                                        PlyRowEnd end) {
  const std::string where = element.name + " " + std::to_string(row + 1) + " of " + std::to_string(element.count);
  if (end == PlyRowEnd::negative_length) return file.malformed(where + " has a list of negative length");
  return file.truncated("the file ends within " + where);
}

Outcome<void> check_ply_element_fits(const FileBytes& file, const PlyElement& element, std::uint64_t offset,
                                     bool text) {
  const std::uint64_t left = file.size() - std::min(offset, file.size());
  const std::uint64_t least = text ? 2 * element.properties.size() - 1 : element.least_row_bytes();
  if (element.count > 0 && element.count > (left + 1) / std::max<std::uint64_t>(1, least)) {
    return file.truncated("the header promises " + std::to_string(element.count) + " of element '" + element.name +
                          "', the file holds at most " + std::to_string(left / std::max<std::uint64_t>(1, least)));
  }
  return {};
}

Outcome<PlyPlace> skip_ply_element(const FileBytes& file, const PlyHeader& header, const PlyElement& element,
                                   PlyPlace at) {
  const bool text = header.encoding == PlyEncoding::text;
  if (auto fits = check_ply_element_fits(file, element, at.offset, text); !fits) return tl::unexpected(fits.error());
  if (text) {
    LineStream lines(file, at.offset, at.lines);
    std::string_view line;
    for (std::uint64_t row = 0; row < element.count; ++row) {
      if (!lines.next(line)) return ply_row_refusal(file, element, row, PlyRowEnd::truncated);
    }
    return PlyPlace{lines.position(), lines.line_number()};
  }
  if (!element.has_lists()) return PlyPlace{at.offset + element.count * element.least_row_bytes(), 0};
  const bool swapped = header.encoding == PlyEncoding::binary_big_endian;
  ByteStream stream(file, at.offset);
  for (std::uint64_t row = 0; row < element.count; ++row) {
    const PlyRowEnd end = walk_ply_row(
        stream, element, swapped, [](std::size_t, double) {}, [](std::size_t, std::uint64_t) { return false; });
    if (end != PlyRowEnd::fine) return ply_row_refusal(file, element, row, end);
  }
  return PlyPlace{stream.position(), 0};
}

}  // namespace rimwright
