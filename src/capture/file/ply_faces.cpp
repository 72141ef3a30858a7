#include "capture/file/ply_faces.h"

#include <optional>
#include <string>
#include <string_view>
#include <vector>

#include "capture/file/numbers.h"
#include "capture/file/polygons.h"

namespace rimwright {

namespace {

std::optional<std::size_t> corner_list_of(const PlyElement& element) {
  for (std::size_t i = 0; i < element.properties.size(); ++i) {
    const PlyProperty& property = element.properties[i];
    if (property.count_type && (property.name == "vertex_indices" || property.name == "vertex_index")) return i;
  }
  return std::nullopt;
}

Outcome<void> read_binary_faces(const FileBytes& file, const PlyElement& face, std::uint64_t offset, bool swapped,
                                PolygonFan& fan) {
  const std::size_t corner_list = *corner_list_of(face);
  const NumberType type = face.properties[corner_list].type;
  const std::size_t entry_bytes = bytes_of(type);
  ByteStream stream(file, offset);
  std::vector<char> entries;
  std::string complaint;
  for (std::uint64_t row = 0; row < face.count; ++row) {
    const auto use_list = [&](std::size_t property, std::uint64_t length) {
      if (property != corner_list) return false;
      if (length > PolygonFan::most_corners) {
        complaint = "has " + std::to_string(length) + " corners";
        return false;
      }
      entries.resize(static_cast<std::size_t>(length) * entry_bytes);
      if (!stream.take(entries.data(), entries.size())) return false;
      for (std::size_t i = 0; i < length && complaint.empty(); ++i) {
        complaint = fan.add_corner(number_at(entries.data() + i * entry_bytes, type, swapped));
      }
      return true;
    };
    const PlyRowEnd end = walk_ply_row(
        stream, face, swapped, [](std::size_t, double) {}, use_list);
    if (end != PlyRowEnd::fine) return ply_row_refusal(file, face, row, end);
    if (complaint.empty()) complaint = fan.close();
    if (!complaint.empty()) return fan.refusal(file, "face " + std::to_string(row + 1) + " " + complaint);
  }
  return {};
}

Outcome<void> read_text_faces(const FileBytes& file, const PlyElement& face, PlyPlace at, PolygonFan& fan) {
  const std::size_t corner_list = *corner_list_of(face);
  LineStream lines(file, at.offset, at.lines);
  std::string_view line;
  for (std::uint64_t row = 0; row < face.count; ++row) {
    if (!lines.next(line)) return ply_row_refusal(file, face, row, PlyRowEnd::truncated);
    std::string complaint;
    for (std::size_t i = 0; i <= corner_list && complaint.empty(); ++i) {
      double length = 1.0;
      if (face.properties[i].count_type && !take_number(line, length)) complaint = "lacks the length of a list";
      if (complaint.empty() && !(length >= 0.0 && length <= static_cast<double>(PolygonFan::most_corners))) {
        complaint = "has a list of impossible length";
      }
      for (std::size_t k = 0; complaint.empty() && k < static_cast<std::size_t>(length); ++k) {
        double value = 0.0;
        if (!take_number(line, value)) {
          complaint = "holds fewer values than it promises";
        } else if (i == corner_list) {
          complaint = fan.add_corner(value);
        }
      }
    }
    if (complaint.empty()) complaint = fan.close();
    if (!complaint.empty()) return fan.refusal(file, lines.where() + ", a face, " + complaint);
  }
  return {};
}

}  // namespace

Outcome<void> read_ply_faces(const FileBytes& file, const PlyHeader& header, PlyPlace at,
                             const ReadCloudSettings& settings, ScanFile& scan) {
  const bool text = header.encoding == PlyEncoding::text;
  const bool swapped = header.encoding == PlyEncoding::binary_big_endian;
  bool behind_vertices = false;
  for (const PlyElement& element : header.elements) {
    if (!behind_vertices) {
      behind_vertices = element.name == "vertex";
      continue;
    }
    if (element.name == "face" && corner_list_of(element)) {
      if (auto fits = check_ply_element_fits(file, element, at.offset, text); !fits) return fits;
      PolygonFan fan(scan.cloud.size(), settings.most_triangles, scan.triangles);
      return text ? read_text_faces(file, element, at, fan) : read_binary_faces(file, element, at.offset, swapped, fan);
    }
    auto behind = skip_ply_element(file, header, element, at);
    if (!behind) return tl::unexpected(behind.error());
    at = *behind;
  }
  return {};
}

}  // namespace rimwright
