#include "capture/file/pcd.h"

#include <algorithm>
#include <array>
#include <cstring>
#include <limits>
#include <optional>
#include <string>
#include <string_view>
#include <utility>
#include <vector>

#include "capture/file/field_names.h"
#include "capture/file/fixed_rows.h"
#include "capture/file/lzf.h"
#include "capture/file/numbers.h"
#include "capture/file/text_rows.h"

namespace rimwright {

namespace {

constexpr std::size_t most_fields = 256;
constexpr std::size_t most_entries = 4096;  // of one field
constexpr std::uint64_t most_header_lines = 256;

struct PcdField {
  std::string name;
  std::size_t entry_bytes = 4;
  char kind = 'F';  // F, I or U
  std::size_t entries = 1;

  [[nodiscard]] std::size_t bytes() const { return entry_bytes * entries; }
  [[nodiscard]] NumberType type() const {
    if (kind == 'F') return entry_bytes == 8 ? NumberType::float64 : NumberType::float32;
    const bool has_sign = kind == 'I';
    switch (entry_bytes) {
      case 1: return has_sign ? NumberType::int8 : NumberType::uint8;
      case 2: return has_sign ? NumberType::int16 : NumberType::uint16;
      case 4: return has_sign ? NumberType::int32 : NumberType::uint32;
      default: return has_sign ? NumberType::int64 : NumberType::uint64;
    }
  }
};

enum class PcdData { text, binary, compressed };

struct PcdHeader {
  std::vector<PcdField> fields;
  std::uint64_t points = 0;
  PcdData data = PcdData::text;
  std::uint64_t data_offset = 0;
  std::uint64_t lines = 0;

  [[nodiscard]] std::size_t row_bytes() const {
    std::size_t bytes = 0;
    for (const PcdField& field : fields) bytes += field.bytes();
    return bytes;
  }
};

PointField field_named(std::string_view name) {
  return name == "rgb" || name == "rgba" ? PointField::packed_rgb_integer : point_field_named(name);
}

std::string take_fields(std::string_view words, PcdHeader& header) {
  for (std::string_view word = take_word(words); !word.empty(); word = take_word(words)) {
    if (header.fields.size() == most_fields) return "names more than 256 fields";
    header.fields.emplace_back().name = std::string(word.substr(0, 100));
  }
  return {};
}

// SIZE, TYPE or COUNT: one word for every field.
template <class UseWord>
std::string take_for_each_field(std::string_view words, PcdHeader& header, const UseWord& use_word) {
  for (PcdField& field : header.fields) {
    const std::string_view word = take_word(words);
    if (word.empty() || !use_word(word, field)) return "does not fit the fields";
  }
  return take_word(words).empty() ? std::string() : "holds more values than there are fields";
}

std::string take_data(std::string_view words, PcdHeader& header) {
  const std::string_view data = take_word(words);
  if (data == "ascii") {
    header.data = PcdData::text;
  } else if (data == "binary") {
    header.data = PcdData::binary;
  } else if (data == "binary_compressed") {
    header.data = PcdData::compressed;
  } else {
    return "names data of an unknown kind";
  }
  return {};
}

Outcome<PcdHeader> read_header(const FileBytes& file) {
  PcdHeader header;
  std::optional<std::uint64_t> points, width, height;
  LineStream lines(file, 0);
  std::string_view line;
  while (lines.next(line)) {
    if (lines.line_number() > most_header_lines) return file.malformed("the header names no DATA by line 256");
    std::string_view words = line;
    const std::string_view keyword = take_word(words);
    if (keyword.empty() || keyword.front() == '#' || keyword == "VERSION" || keyword == "VIEWPOINT") continue;
    std::string complaint;
    const auto take_count = [&](std::optional<std::uint64_t>& count) {
      std::uint64_t value = 0;
      if (parse_integer(take_word(words), value)) {
        count = value;
      } else {
        complaint = "holds no count";
      }
    };
    if (keyword == "FIELDS" || keyword == "COLUMNS") {
      if (!header.fields.empty()) complaint = "names the fields again";
      if (complaint.empty()) complaint = take_fields(words, header);
    } else if (keyword == "SIZE") {
      complaint = take_for_each_field(words, header, [](std::string_view word, PcdField& field) {
        return parse_integer(word, field.entry_bytes) &&
               (field.entry_bytes == 1 || field.entry_bytes == 2 || field.entry_bytes == 4 || field.entry_bytes == 8);
      });
    } else if (keyword == "TYPE") {
      complaint = take_for_each_field(words, header, [](std::string_view word, PcdField& field) {
        field.kind = word.front();
        return word == "F" || word == "I" || word == "U";
      });
    } else if (keyword == "COUNT") {
      complaint = take_for_each_field(words, header, [](std::string_view word, PcdField& field) {
        return parse_integer(word, field.entries) && field.entries <= most_entries;
      });
    } else if (keyword == "WIDTH") {
      take_count(width);
    } else if (keyword == "HEIGHT") {
      take_count(height);
    } else if (keyword == "POINTS") {
      take_count(points);
    } else if (keyword == "DATA") {
      complaint = take_data(words, header);
      if (complaint.empty()) {
        header.data_offset = lines.position();
        header.lines = lines.line_number();
        break;
      }
    } else {
      complaint = "begins with no word of a PCD header";
    }
    if (!complaint.empty()) return file.malformed("header " + lines.where() + " " + complaint);
  }
  if (lines.too_long()) return file.malformed("header " + lines.where() + " is longer than 1 MiB");
  if (header.data_offset == 0) return file.truncated("the file ends within its header");
  for (const PcdField& field : header.fields) {
    if (field.kind == 'F' && field.entry_bytes < 4) {
      return file.malformed("its field '" + field.name + "' is a float of fewer than 4 bytes");
    }
  }
  if (width && height) {
    if (*height != 0 && *width > std::numeric_limits<std::uint64_t>::max() / *height) {
      return file.malformed("its width and height are impossible");
    }
    if (points && *points != *width * *height) {
      return file.malformed("its POINTS differ from WIDTH times HEIGHT");
    }
    points = *width * *height;
  }
  if (!points) return file.malformed("its header tells no number of points");
  header.points = *points;
  if (header.points == 0) return file.too_few_points("the file holds no points");
  return header;
}

// Places of the fields in a row (binary), or in arrays one after the other (compressed).
RowFormat row_format(const PcdHeader& header, bool by_array) {
  RowFormat format;
  format.row_bytes = header.row_bytes();
  std::size_t offset = 0;
  for (const PcdField& field : header.fields) {
    const PointField meaning = field.entries == 1 ? field_named(field.name) : PointField::none;
    const std::size_t stride = by_array ? field.bytes() : format.row_bytes;
    const auto place = [&](PointField as, NumberType type, std::size_t at) {
      if (!format.at(as).present) format.at(as) = {true, type, at, stride};
    };
    if (meaning == PointField::packed_rgb_integer) {
      if (field.entry_bytes == 4) {  // little endian: blue comes first
        place(PointField::blue, NumberType::uint8, offset);
        place(PointField::green, NumberType::uint8, offset + 1);
        place(PointField::red, NumberType::uint8, offset + 2);
      }
    } else if (meaning != PointField::none) {
      place(meaning, field.type(), offset);
    }
    offset += by_array ? field.bytes() * static_cast<std::size_t>(header.points) : field.bytes();
  }
  return format;
}

TextRowFormat text_format(const PcdHeader& header) {
  TextRowFormat format;
  format.may_skip_lines = true;
  std::array<bool, static_cast<std::size_t>(PointField::none) + 1> seen{};
  for (const PcdField& field : header.fields) {
    PointField meaning = field.entries == 1 ? field_named(field.name) : PointField::none;
    bool& again = seen[static_cast<std::size_t>(meaning)];
    if (again) meaning = PointField::none;
    again = true;
    if (meaning == PointField::packed_rgb_integer && field.kind == 'F') meaning = PointField::packed_rgb_bits;
    format.columns.insert(format.columns.end(), field.entries, PointField::none);
    if (meaning != PointField::none) format.columns.back() = meaning;
  }
  return format;
}

Outcome<void> read_text(const FileBytes& file, const PcdHeader& header, std::size_t block_points, Workers& workers,
                        const UseBlock& use_block) {
  const TextRowFormat format = text_format(header);
  const std::uint64_t left = file.size() - header.data_offset;
  const std::uint64_t most_rows = (left + 1) / (2 * std::max<std::size_t>(1, format.columns.size()));
  if (header.points > most_rows) {
    return file.truncated("the header promises " + std::to_string(header.points) + " points, the file holds at most " +
                          std::to_string(most_rows));
  }
  auto read =
      read_text_rows(file, {header.data_offset, header.lines, std::nullopt}, format, block_points, workers, use_block);
  if (!read) return tl::unexpected(read.error());
  if (read->points == header.points) return {};
  const std::string what = "the header promises " + std::to_string(header.points) + " points, the file holds " +
                           std::to_string(read->points);
  if (read->points < header.points) return file.truncated(what);
  return file.malformed(what);
}

Outcome<void> read_compressed(const FileBytes& file, const PcdHeader& header, std::size_t block_points,
                              Workers& workers, const UseBlock& use_block) {
  std::array<std::uint32_t, 2> sizes{};  // compressed, expanded
  if (!file.read_exactly(header.data_offset, sizes.data(), sizeof(sizes))) {
    return file.truncated("the file ends before its points");
  }
  const auto [packed_size, full_size] = sizes;
  const std::uint64_t packed_offset = header.data_offset + sizeof(sizes);
  if (packed_size > file.size() - packed_offset) {
    return file.truncated("it promises " + std::to_string(packed_size) + " bytes of compressed points and holds " +
                          std::to_string(file.size() - packed_offset));
  }
  if (full_size / header.row_bytes() != header.points || full_size % header.row_bytes() != 0) {
    return file.malformed("the header promises " + std::to_string(header.points) +
                          " points, its compressed part another number");
  }
  if (full_size > lzf_most_expansion * packed_size) {
    return file.malformed("its compressed points cannot expand to the promised size");
  }
  std::vector<std::uint8_t> packed(packed_size), full(full_size);
  if (!file.read_exactly(packed_offset, packed.data(), packed.size())) {
    return file.truncated("the file could not be read to its end");
  }
  if (!expand_lzf(packed.data(), packed.size(), full.data(), full.size())) {
    return file.malformed("its compressed points are damaged");
  }
  packed = {};
  RowFormat format = row_format(header, true);
  const char* bytes = reinterpret_cast<const char*>(full.data());
  const auto at_point = [&](std::size_t point) {
    RowFormat shifted = format;
    for (FieldPlace& place : shifted.fields) place.offset += point * place.stride;
    return shifted;
  };
  const auto points = static_cast<std::size_t>(header.points);
  std::vector<Vector3> sample;
  constexpr std::size_t samples = 255;
  for (std::size_t i = 0; i < points; i += points / samples + 1) {
    const auto value = [&](PointField field) {
      const FieldPlace& place = format.at(field);
      return number_at(bytes + place.offset + i * place.stride, place.type, false);
    };
    sample.emplace_back(value(PointField::x), value(PointField::y), value(PointField::z));
  }
  const Vector3 origin = local_origin(sample);
  constexpr std::size_t chunk_points = std::size_t{1} << 14;
  Cloud block;
  for (std::size_t first = 0; first < points; first += std::min(block_points, points - first)) {
    const std::size_t in_block = std::min(block_points, points - first);
    resize_arrays(block, in_block, format.present());
    block.origin_mm = origin;
    workers.for_chunks(in_block, chunk_points, [&](std::size_t begin, std::size_t end, std::size_t) {
      decode_rows(bytes, end - begin, at_point(first + begin), block, begin);
    });
    use_block(block);
  }
  return {};
}

Outcome<void> read_points(const FileBytes& file, std::size_t block_points, std::uint64_t most_points, Workers& workers,
                          const UseBlock& use_block, FileHash* hash = nullptr) {
  auto header = read_header(file);
  if (!header) return tl::unexpected(header.error());
  if (header->points > most_points) {
    return file.over_limit(
        "it holds " + std::to_string(header->points) + " points, more than " + std::to_string(most_points),
        "thin the scan before exporting it");
  }
  // Whether x, y and z are there is the same question for every encoding.
  PcdHeader none = *header;
  none.points = 0;
  RowFormat format = row_format(none, false);
  if (header->points <= block_points) format.points_a_normal = points_a_normal_of(header->points);
  if (!format.at(PointField::x).present || !format.at(PointField::y).present || !format.at(PointField::z).present) {
    return file.malformed("its fields lack x, y or z");
  }
  switch (header->data) {
    case PcdData::text: return read_text(file, *header, block_points, workers, use_block);
    case PcdData::compressed: return read_compressed(file, *header, block_points, workers, use_block);
    case PcdData::binary: break;
  }
  const std::uint64_t held = (file.size() - header->data_offset) / format.row_bytes;
  if (header->points > held) {
    return file.truncated("the header promises " + std::to_string(header->points) + " points, the file holds " +
                          std::to_string(held));
  }
  return read_fixed_rows(file, header->data_offset, header->points, format, block_points, workers, use_block, hash);
}

}  // namespace

Outcome<ScanFile> read_pcd(const FileBytes& file, const ReadCloudSettings& settings, Workers& workers) {
  ScanFile scan;
  auto read = read_points(
      file, std::numeric_limits<std::size_t>::max(), settings.most_points, workers,
      [&](Cloud& block) { scan.cloud = std::move(block); }, settings.hash);
  if (!read) return tl::unexpected(read.error());
  return scan;
}

Outcome<std::uint64_t> pcd_points(const FileBytes& file) {
  auto header = read_header(file);
  if (!header) return tl::unexpected(header.error());
  return header->points;
}

Outcome<void> for_each_pcd_block(const FileBytes& file, std::size_t block_points, Workers& workers,
                                 const UseBlock& use_block) {
  return read_points(file, block_points, std::numeric_limits<std::uint64_t>::max(), workers, use_block);
}

}  // namespace rimwright
