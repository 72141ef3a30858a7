#include "capture/file/ply.h"

#include <algorithm>
#include <array>
#include <limits>
#include <optional>
#include <string_view>
#include <utility>

#include "capture/file/fixed_rows.h"
#include "capture/file/numbers.h"
#include "capture/file/ply_header.h"
#include "capture/file/polygons.h"
#include "capture/file/text_rows.h"

namespace rimwright {

namespace {

PointField field_named(std::string_view name) {
  static constexpr std::array<std::pair<std::string_view, PointField>, 20> names = {{
      {"x", PointField::x},
      {"y", PointField::y},
      {"z", PointField::z},
      {"nx", PointField::normal_x},
      {"ny", PointField::normal_y},
      {"nz", PointField::normal_z},
      {"normal_x", PointField::normal_x},
      {"normal_y", PointField::normal_y},
      {"normal_z", PointField::normal_z},
      {"red", PointField::red},
      {"green", PointField::green},
      {"blue", PointField::blue},
      {"r", PointField::red},
      {"g", PointField::green},
      {"b", PointField::blue},
      {"diffuse_red", PointField::red},
      {"diffuse_green", PointField::green},
      {"diffuse_blue", PointField::blue},
      {"sigma", PointField::sigma},
      {"sigma_mm", PointField::none},
  }};
  for (const auto& [known, field] : names) {
    if (known == name) return field;
  }
  return PointField::none;
}

bool is_vertex(const PlyElement& element) { return element.name == "vertex"; }

struct VertexPlace {
  const PlyElement* element = nullptr;
  std::vector<PointField> columns;  // by property; the first property of a name counts
  std::uint64_t offset = 0;         // of the first vertex
  std::uint64_t lines_before = 0;
};

// ---- Rows with lists, binary ------------------------------------------------------------------------------------

bool take_value(ByteStream& stream, NumberType type, bool swapped, double& value) {
  std::array<char, 8> bytes{};
  if (!stream.take(bytes.data(), bytes_of(type))) return false;
  value = number_at(bytes.data(), type, swapped);
  return true;
}

// The length of a list; negative lengths are refused as malformed by the callers through nullopt.
bool take_list_length(ByteStream& stream, NumberType type, bool swapped, std::uint64_t& length, bool& negative) {
  double value = 0.0;
  if (!take_value(stream, type, swapped, value)) return false;
  negative = value < 0.0;
  length = negative ? 0 : static_cast<std::uint64_t>(value);
  return true;
}

// Walks one row; `use_value(property index, value)` for every scalar, `use_list(property index, length)` for every
// list, which returns whether it took the list's entries itself. 0 = fine, else the complaint.
enum class RowEnd { fine, truncated, negative_length };

template <class UseValue, class UseList>
RowEnd walk_row(ByteStream& stream, const PlyElement& element, bool swapped, const UseValue& use_value,
                const UseList& use_list) {
  for (std::size_t i = 0; i < element.properties.size(); ++i) {
    const PlyProperty& property = element.properties[i];
    if (property.count_type) {
      std::uint64_t length = 0;
      bool negative = false;
      if (!take_list_length(stream, *property.count_type, swapped, length, negative)) return RowEnd::truncated;
      if (negative) return RowEnd::negative_length;
      if (length > stream.left() / bytes_of(property.type)) return RowEnd::truncated;
      if (!use_list(i, length) && !stream.skip(length * bytes_of(property.type))) return RowEnd::truncated;
    } else {
      double value = 0.0;
      if (!take_value(stream, property.type, swapped, value)) return RowEnd::truncated;
      use_value(i, value);
    }
  }
  return RowEnd::fine;
}

tl::unexpected<Refusal> row_refusal(const FileBytes& file, const PlyElement& element, std::uint64_t row, RowEnd end) {
  const std::string where = element.name + " " + std::to_string(row + 1) + " of " + std::to_string(element.count);
  if (end == RowEnd::negative_length) return file.malformed(where + " has a list of negative length");
  return file.truncated("the file ends within " + where);
}

// Refuses an element that cannot fit in the bytes left from `offset` on.
Outcome<void> check_fits(const FileBytes& file, const PlyElement& element, std::uint64_t offset, bool text) {
  const std::uint64_t left = file.size() - std::min(offset, file.size());
  const std::uint64_t least = text ? 2 * element.properties.size() - 1 : element.least_row_bytes();
  if (element.count > 0 && element.count > (left + 1) / std::max<std::uint64_t>(1, least)) {
    return file.truncated("the header promises " + std::to_string(element.count) + " of element '" + element.name +
                          "', the file holds at most " + std::to_string(left / std::max<std::uint64_t>(1, least)));
  }
  return {};
}

// Offset behind an element of no interest.
Outcome<std::uint64_t> skip_binary(const FileBytes& file, const PlyElement& element, std::uint64_t offset,
                                   bool swapped) {
  if (auto fits = check_fits(file, element, offset, false); !fits) return tl::unexpected(fits.error());
  if (!element.has_lists()) return offset + element.count * element.least_row_bytes();
  ByteStream stream(file, offset);
  for (std::uint64_t row = 0; row < element.count; ++row) {
    const RowEnd end = walk_row(
        stream, element, swapped, [](std::size_t, double) {}, [](std::size_t, std::uint64_t) { return false; });
    if (end != RowEnd::fine) return row_refusal(file, element, row, end);
  }
  return stream.position();
}

// Finds the vertices: offset and lines in front of them.
Outcome<VertexPlace> find_vertices(const FileBytes& file, const PlyHeader& header) {
  VertexPlace place;
  place.offset = header.data_offset;
  place.lines_before = header.lines;
  const bool text = header.encoding == PlyEncoding::text;
  for (const PlyElement& element : header.elements) {
    if (is_vertex(element)) {
      place.element = &element;
      break;
    }
    if (auto fits = check_fits(file, element, place.offset, text); !fits) return tl::unexpected(fits.error());
    if (text) {
      LineStream lines(file, place.offset);
      std::string_view line;
      for (std::uint64_t row = 0; row < element.count; ++row) {
        if (!lines.next(line)) return row_refusal(file, element, row, RowEnd::truncated);
      }
      place.offset = lines.position();
      place.lines_before += element.count;
    } else {
      auto behind = skip_binary(file, element, place.offset, header.encoding == PlyEncoding::binary_big_endian);
      if (!behind) return tl::unexpected(behind.error());
      place.offset = *behind;
    }
  }
  if (place.element == nullptr) return file.malformed("the header names no element 'vertex'");
  const PlyElement& vertex = *place.element;
  if (vertex.count == 0) return file.too_few_points("the file holds no points");
  std::array<bool, stored_field_count> seen{};
  for (const PlyProperty& property : vertex.properties) {
    PointField field = property.count_type ? PointField::none : field_named(property.name);
    if (field != PointField::none) {
      bool& again = seen[static_cast<std::size_t>(field)];
      if (again) field = PointField::none;
      again = true;
    }
    place.columns.push_back(field);
  }
  if (!seen[0] || !seen[1] || !seen[2]) return file.malformed("its element 'vertex' lacks x, y or z");
  if (auto fits = check_fits(file, vertex, place.offset, text); !fits) return tl::unexpected(fits.error());
  return place;
}

double colour_scale_of(const VertexPlace& place) {
  for (std::size_t i = 0; i < place.columns.size(); ++i) {
    if (place.columns[i] == PointField::red) return colour_scale(place.element->properties[i].type);
  }
  return 1.0;
}

RowFormat row_format(const VertexPlace& place, bool swapped) {
  RowFormat format;
  format.swapped = swapped;
  format.row_bytes = static_cast<std::size_t>(place.element->least_row_bytes());
  std::size_t offset = 0;
  for (std::size_t i = 0; i < place.columns.size(); ++i) {
    const NumberType type = place.element->properties[i].type;
    if (place.columns[i] != PointField::none) format.at(place.columns[i]) = {true, type, offset, format.row_bytes};
    offset += bytes_of(type);
  }
  return format;
}

// Vertices that carry lists: rows of differing length, one after the other. Returns the offset behind them.
Outcome<std::uint64_t> read_listed_vertices(const FileBytes& file, const VertexPlace& place, bool swapped,
                                            std::size_t block_points, Workers& workers, const UseBlock& use_block) {
  // Each row is brought into a fixed row of doubles, which the common decoder takes.
  RowFormat format;
  format.row_bytes = stored_field_count * sizeof(double);
  for (const PointField field : place.columns) {
    if (field == PointField::none) continue;
    const auto index = static_cast<std::size_t>(field);
    format.at(field) = {true, NumberType::float64, index * sizeof(double), format.row_bytes};
  }
  const double colour = colour_scale_of(place) / colour_scale(NumberType::float64);
  ByteStream stream(file, place.offset);
  std::vector<std::array<double, stored_field_count>> rows;
  std::vector<Vector3> sample;
  std::optional<Vector3> origin;
  Cloud block;
  constexpr std::size_t rows_at_once = 4096;
  const auto flush = [&](bool hand_over) {
    if (!origin) {
      for (const auto& row : rows) sample.emplace_back(row[0], row[1], row[2]);
      origin = local_origin(sample);
    }
    block.origin_mm = *origin;
    const std::size_t before = block.size();
    resize_arrays(block, before + rows.size(), format.present(), workers);
    if (!rows.empty()) {
      decode_rows(reinterpret_cast<const char*>(rows.data()), rows.size(), format, block, before);
    }
    rows.clear();
    if (hand_over && block.size() > 0) {
      use_block(block);
      block = Cloud{};
    }
  };
  for (std::uint64_t row = 0; row < place.element->count; ++row) {
    auto& values = rows.emplace_back();
    const auto use_value = [&](std::size_t property, double value) {
      const PointField field = place.columns[property];
      if (field == PointField::none) return;
      const bool is_colour = field >= PointField::red && field <= PointField::blue;
      values[static_cast<std::size_t>(field)] = is_colour ? value * colour : value;
    };
    const RowEnd end =
        walk_row(stream, *place.element, swapped, use_value, [](std::size_t, std::uint64_t) { return false; });
    if (end != RowEnd::fine) return row_refusal(file, *place.element, row, end);
    if (rows.size() == rows_at_once) flush(block.size() + rows.size() >= block_points);
  }
  flush(true);
  return stream.position();
}

// Reads the vertices; returns where the file goes on behind them.
struct Behind {
  std::uint64_t offset = 0;
  std::uint64_t lines = 0;
};

Outcome<Behind> read_vertices(const FileBytes& file, const PlyHeader& header, const VertexPlace& place,
                              std::size_t block_points, Workers& workers, const UseBlock& use_block) {
  const PlyElement& vertex = *place.element;
  if (header.encoding == PlyEncoding::text) {
    if (vertex.has_lists()) {
      return file.not_supported("its points carry lists, as text", "save it as binary PLY");
    }
    const TextRowFormat format{' ', place.columns, colour_scale_of(place), false};
    auto read = read_text_rows(file, {place.offset, place.lines_before, vertex.count}, format, block_points, workers,
                               use_block);
    if (!read) return tl::unexpected(read.error());
    return Behind{read->end_offset, place.lines_before + read->lines};
  }
  const bool swapped = header.encoding == PlyEncoding::binary_big_endian;
  if (vertex.has_lists()) {
    auto behind = read_listed_vertices(file, place, swapped, block_points, workers, use_block);
    if (!behind) return tl::unexpected(behind.error());
    return Behind{*behind, 0};
  }
  const RowFormat format = row_format(place, swapped);
  if (vertex.count > (file.size() - place.offset) / format.row_bytes) {
    return file.truncated("the header promises " + std::to_string(vertex.count) + " points, the file holds " +
                          std::to_string((file.size() - place.offset) / format.row_bytes));
  }
  auto read = read_fixed_rows(file, place.offset, vertex.count, format, block_points, workers, use_block);
  if (!read) return tl::unexpected(read.error());
  return Behind{place.offset + vertex.count * format.row_bytes, 0};
}

// ---- Faces ------------------------------------------------------------------------------------------------------

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
    const RowEnd end = walk_row(
        stream, face, swapped, [](std::size_t, double) {}, use_list);
    if (end != RowEnd::fine) return row_refusal(file, face, row, end);
    if (complaint.empty()) complaint = fan.close();
    if (!complaint.empty()) return file.malformed("face " + std::to_string(row + 1) + " " + complaint);
  }
  return {};
}

Outcome<void> read_text_faces(const FileBytes& file, const PlyElement& face, Behind at, PolygonFan& fan) {
  const std::size_t corner_list = *corner_list_of(face);
  LineStream lines(file, at.offset, at.lines);
  std::string_view line;
  for (std::uint64_t row = 0; row < face.count; ++row) {
    if (!lines.next(line)) return row_refusal(file, face, row, RowEnd::truncated);
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
    if (!complaint.empty()) return file.malformed(lines.where() + ", a face, " + complaint);
  }
  return {};
}

Outcome<void> read_faces(const FileBytes& file, const PlyHeader& header, Behind at, const ReadCloudSettings& settings,
                         ScanFile& scan) {
  const bool text = header.encoding == PlyEncoding::text;
  const bool swapped = header.encoding == PlyEncoding::binary_big_endian;
  bool behind_vertices = false;
  for (const PlyElement& element : header.elements) {
    if (!behind_vertices) {
      behind_vertices = is_vertex(element);
      continue;
    }
    if (auto fits = check_fits(file, element, at.offset, text); !fits) return fits;
    if (element.name == "face" && corner_list_of(element)) {
      PolygonFan fan(scan.cloud.size(), settings.most_triangles, scan.triangles);
      return text ? read_text_faces(file, element, at, fan) : read_binary_faces(file, element, at.offset, swapped, fan);
    }
    if (text) {
      LineStream lines(file, at.offset, at.lines);
      std::string_view line;
      for (std::uint64_t row = 0; row < element.count; ++row) {
        if (!lines.next(line)) return row_refusal(file, element, row, RowEnd::truncated);
      }
      at = {lines.position(), lines.line_number()};
    } else {
      auto behind = skip_binary(file, element, at.offset, swapped);
      if (!behind) return tl::unexpected(behind.error());
      at.offset = *behind;
    }
  }
  return {};
}

}  // namespace

Outcome<ScanFile> read_ply(const FileBytes& file, const ReadCloudSettings& settings, Workers& workers) {
  auto header = read_ply_header(file);
  if (!header) return tl::unexpected(header.error());
  auto place = find_vertices(file, *header);
  if (!place) return tl::unexpected(place.error());
  if (place->element->count > settings.most_points) {
    return file.over_limit("it holds " + std::to_string(place->element->count) + " points, more than " +
                               std::to_string(settings.most_points),
                           "thin the scan before exporting it");
  }
  ScanFile scan;
  auto behind = read_vertices(file, *header, *place, std::numeric_limits<std::size_t>::max(), workers,
                              [&](Cloud& block) { scan.cloud = std::move(block); });
  if (!behind) return tl::unexpected(behind.error());
  if (auto faces = read_faces(file, *header, *behind, settings, scan); !faces) return tl::unexpected(faces.error());
  return scan;
}

Outcome<void> for_each_ply_block(const FileBytes& file, std::size_t block_points, Workers& workers,
                                 const UseBlock& use_block) {
  auto header = read_ply_header(file);
  if (!header) return tl::unexpected(header.error());
  auto place = find_vertices(file, *header);
  if (!place) return tl::unexpected(place.error());
  auto behind = read_vertices(file, *header, *place, block_points, workers, use_block);
  if (!behind) return tl::unexpected(behind.error());
  return {};
}

}  // namespace rimwright
