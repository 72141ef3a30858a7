#include "capture/file/ply.h"

#include <algorithm>
#include <array>
#include <limits>
#include <optional>
#include <utility>
#include <vector>

#include "capture/file/field_names.h"
#include "capture/file/fixed_rows.h"
#include "capture/file/ply_faces.h"
#include "capture/file/ply_header.h"
#include "capture/file/ply_rows.h"
#include "capture/file/text_rows.h"

namespace rimwright {

namespace {

bool is_vertex(const PlyElement& element) { return element.name == "vertex"; }

struct VertexPlace {
  const PlyElement* element = nullptr;
  std::vector<PointField> columns;  // by property; the first property of a name counts
  std::uint64_t offset = 0;         // of the first vertex
  std::uint64_t lines_before = 0;
};

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
    auto behind = skip_ply_element(file, header, element, {place.offset, place.lines_before});
    if (!behind) return tl::unexpected(behind.error());
    place.offset = behind->offset;
    place.lines_before = behind->lines;
  }
  if (place.element == nullptr) return file.malformed("the header names no element 'vertex'");
  const PlyElement& vertex = *place.element;
  if (vertex.count == 0) return file.too_few_points("the file holds no points");
  std::array<bool, stored_field_count> seen{};
  for (const PlyProperty& property : vertex.properties) {
    PointField field = property.count_type ? PointField::none : point_field_named(property.name);
    if (field != PointField::none) {
      bool& again = seen[static_cast<std::size_t>(field)];
      if (again) field = PointField::none;
      again = true;
    }
    place.columns.push_back(field);
  }
  if (!seen[0] || !seen[1] || !seen[2]) return file.malformed("its element 'vertex' lacks x, y or z");
  if (auto fits = check_ply_element_fits(file, vertex, place.offset, text); !fits) return tl::unexpected(fits.error());
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
                                            std::size_t block_points, const UseBlock& use_block) {
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
    resize_arrays(block, before + rows.size(), format.present());
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
    const PlyRowEnd end =
        walk_ply_row(stream, *place.element, swapped, use_value, [](std::size_t, std::uint64_t) { return false; });
    if (end != PlyRowEnd::fine) return ply_row_refusal(file, *place.element, row, end);
    if (rows.size() == rows_at_once) flush(block.size() + rows.size() >= block_points);
  }
  flush(true);
  return stream.position();
}

// Reads the vertices; returns where the file goes on behind them. hash: see read_fixed_rows.
Outcome<PlyPlace> read_vertices(const FileBytes& file, const PlyHeader& header, const VertexPlace& place,
                                std::size_t block_points, Workers& workers, const UseBlock& use_block,
                                FileHash* hash = nullptr) {
  const PlyElement& vertex = *place.element;
  if (header.encoding == PlyEncoding::text) {
    if (vertex.has_lists()) {
      return file.not_supported("its points carry lists, as text", "save it as binary PLY");
    }
    const TextRowFormat format{' ', place.columns, colour_scale_of(place), false};
    auto read = read_text_rows(file, {place.offset, place.lines_before, vertex.count}, format, block_points, workers,
                               use_block);
    if (!read) return tl::unexpected(read.error());
    return PlyPlace{read->end_offset, place.lines_before + read->lines};
  }
  const bool swapped = header.encoding == PlyEncoding::binary_big_endian;
  if (vertex.has_lists()) {
    auto behind = read_listed_vertices(file, place, swapped, block_points, use_block);
    if (!behind) return tl::unexpected(behind.error());
    return PlyPlace{*behind, 0};
  }
  RowFormat format = row_format(place, swapped);
  // Not of a mesh, the corners of whose faces need theirs, each; nor of blocks, whose points are thinned later on.
  if (header.elements.size() == 1 && vertex.count <= block_points)
    format.points_a_normal = points_a_normal_of(vertex.count);
  if (vertex.count > (file.size() - place.offset) / format.row_bytes) {
    return file.truncated("the header promises " + std::to_string(vertex.count) + " points, the file holds " +
                          std::to_string((file.size() - place.offset) / format.row_bytes));
  }
  auto read = read_fixed_rows(file, place.offset, vertex.count, format, block_points, workers, use_block, hash);
  if (!read) return tl::unexpected(read.error());
  return PlyPlace{place.offset + vertex.count * format.row_bytes, 0};
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
  if (!settings.keep_colours)  // nor decode them
    std::replace_if(
        place->columns.begin(), place->columns.end(),
        [](PointField field) { return field >= PointField::red && field <= PointField::blue; }, PointField::none);
  ScanFile scan;
  auto behind = read_vertices(
      file, *header, *place, std::numeric_limits<std::size_t>::max(), workers,
      [&](Cloud& block) { scan.cloud = std::move(block); }, settings.hash);
  if (!behind) return tl::unexpected(behind.error());
  if (auto faces = read_ply_faces(file, *header, *behind, settings, scan); !faces) return tl::unexpected(faces.error());
  return scan;
}

Outcome<std::uint64_t> ply_points(const FileBytes& file) {
  auto header = read_ply_header(file);
  if (!header) return tl::unexpected(header.error());
  auto place = find_vertices(file, *header);
  if (!place) return tl::unexpected(place.error());
  return place->element->count;
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
