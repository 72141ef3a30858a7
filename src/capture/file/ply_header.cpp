#include "capture/file/ply_header.h"

#include <algorithm>
#include <array>
#include <string_view>
#include <utility>

#include "capture/file/numbers.h"

namespace rimwright {

namespace {

std::optional<NumberType> number_type(std::string_view word) {
  static constexpr std::array<std::pair<std::string_view, NumberType>, 16> names = {{
      {"char", NumberType::int8},
      {"int8", NumberType::int8},
      {"uchar", NumberType::uint8},
      {"uint8", NumberType::uint8},
      {"short", NumberType::int16},
      {"int16", NumberType::int16},
      {"ushort", NumberType::uint16},
      {"uint16", NumberType::uint16},
      {"int", NumberType::int32},
      {"int32", NumberType::int32},
      {"uint", NumberType::uint32},
      {"uint32", NumberType::uint32},
      {"float", NumberType::float32},
      {"float32", NumberType::float32},
      {"double", NumberType::float64},
      {"float64", NumberType::float64},
  }};
  for (const auto& [name, type] : names) {
    if (name == word) return type;
  }
  return std::nullopt;
}

std::string in_quotes(std::string_view word) {
  std::string text = "'";
  text.append(word.substr(0, 40)).append("'");
  return text;
}

// Reads one header line into the header; a complaint when it is not one.
std::string take_header_line(std::string_view line, PlyHeader& header, bool& encoding_known) {
  const std::string_view keyword = take_word(line);
  if (keyword == "comment" || keyword == "obj_info") return {};
  if (keyword == "format") {
    const std::string_view encoding = take_word(line);
    if (encoding == "ascii") {
      header.encoding = PlyEncoding::text;
    } else if (encoding == "binary_little_endian") {
      header.encoding = PlyEncoding::binary_little_endian;
    } else if (encoding == "binary_big_endian") {
      header.encoding = PlyEncoding::binary_big_endian;
    } else {
      return "names the unknown encoding " + in_quotes(encoding);
    }
    if (take_word(line) != "1.0") return "names a version of the format other than 1.0";
    encoding_known = true;
    return {};
  }
  if (keyword == "element") {
    PlyElement element;
    element.name = std::string(take_word(line).substr(0, 100));
    const std::string_view count = take_word(line);
    if (element.name.empty() || !parse_integer(count, element.count)) {
      return "gives " + in_quotes(count) + " as the number of elements";
    }
    if (header.elements.size() == ply_most_elements) return "holds one element too many; 64 are read at most";
    header.elements.push_back(std::move(element));
    return {};
  }
  if (keyword == "property") {
    if (header.elements.empty()) return "holds a property before any element";
    PlyProperty property;
    std::string_view type = take_word(line);
    if (type == "list") {
      const std::string_view count_type = take_word(line);
      property.count_type = number_type(count_type);
      if (!property.count_type || *property.count_type == NumberType::float32 ||
          *property.count_type == NumberType::float64) {
        return "gives " + in_quotes(count_type) + " as the type of a list's length";
      }
      type = take_word(line);
    }
    const std::optional<NumberType> value_type = number_type(type);
    if (!value_type) return "names the unknown type " + in_quotes(type);
    property.type = *value_type;
    property.name = std::string(take_word(line).substr(0, 100));
    if (property.name.empty()) return "holds a property without a name";
    auto& properties = header.elements.back().properties;
    if (properties.size() == ply_most_properties) return "holds one property too many; 256 are read at most";
    const bool again = std::any_of(properties.begin(), properties.end(),
                                   [&](const PlyProperty& other) { return other.name == property.name; });
    if (again) return "names the property " + in_quotes(property.name) + " a second time";
    properties.push_back(std::move(property));
    return {};
  }
  return "begins with " + in_quotes(keyword) + ", which is no word of a PLY header";
}

}  // namespace

bool PlyElement::has_lists() const {
  return std::any_of(properties.begin(), properties.end(),
                     [](const PlyProperty& p) { return p.count_type.has_value(); });
}

std::uint64_t PlyElement::least_row_bytes() const {
  std::uint64_t bytes = 0;
  for (const PlyProperty& property : properties) bytes += bytes_of(property.count_type.value_or(property.type));
  return bytes;
}

Outcome<PlyHeader> read_ply_header(const FileBytes& file) {
  PlyHeader header;
  LineStream lines(file, 0);
  std::string_view line;
  if (!lines.next(line) || line != "ply") return file.malformed("this is not a PLY file: it does not begin with 'ply'");
  bool encoding_known = false;
  while (lines.next(line)) {
    if (lines.line_number() > ply_longest_header_lines) return file.malformed("the header does not end by line 4096");
    std::string_view words = line;
    if (take_word(words) == "end_header") {
      if (!encoding_known) return file.malformed("the header names no format");
      header.data_offset = lines.position();
      header.lines = lines.line_number();
      for (const PlyElement& element : header.elements) {
        if (element.count > 0 && element.properties.empty()) {
          return file.malformed("the header promises " + std::to_string(element.count) + " of element " +
                                in_quotes(element.name) + ", which has no properties");
        }
      }
      return header;
    }
    if (words.empty() && line.empty()) continue;
    const std::string complaint = take_header_line(line, header, encoding_known);
    if (!complaint.empty()) return file.malformed("header " + lines.where() + " " + complaint);
  }
  if (lines.too_long()) return file.malformed("header " + lines.where() + " is longer than 1 MiB");
  return file.truncated("the file ends within its header");
}

}  // namespace rimwright
