#include "capture/file/text_rows.h"

#include <algorithm>
#include <array>
#include <bit>
#include <cstring>
#include <limits>

#include "capture/file/numbers.h"

namespace rimwright {

namespace {

constexpr std::size_t text_block_bytes = std::size_t{1} << 22;  // read at once; also the longest line
constexpr std::size_t piece_bytes = std::size_t{1} << 17;       // parsed at once
constexpr std::size_t origin_sample_lines = 1023;

struct Row {
  std::array<double, stored_field_count> value{};
  [[nodiscard]] double operator[](PointField field) const { return value[static_cast<std::size_t>(field)]; }
};

enum class LineKind { point, skipped, broken };

void unpack_colour(double value, bool bits_of_float, Row& row) {
  std::uint32_t packed = 0;
  if (bits_of_float) {
    packed = std::bit_cast<std::uint32_t>(static_cast<float>(value));
  } else if (value >= 0.0 && value <= 4294967295.0) {
    packed = static_cast<std::uint32_t>(value);
  }
  row.value[static_cast<std::size_t>(PointField::red)] = (packed >> 16U) & 0xffU;
  row.value[static_cast<std::size_t>(PointField::green)] = (packed >> 8U) & 0xffU;
  row.value[static_cast<std::size_t>(PointField::blue)] = packed & 0xffU;
}

const char* skip_word(const char* at, const char* end, char delimiter) {
  while (at != end && *at != delimiter && !(delimiter == ' ' && is_blank(*at))) ++at;
  return at;
}

LineKind parse_line(const char* at, const char* end, const TextRowFormat& format, Row& row, std::string& complaint) {
  at = skip_blanks(at, end);
  if (format.may_skip_lines && (at == end || *at == '#' || (*at == '/' && end - at > 1 && at[1] == '/'))) {
    return LineKind::skipped;
  }
  const std::size_t wanted = format.columns.size();
  for (std::size_t column = 0; column < wanted; ++column) {
    if (column > 0 && format.delimiter != ' ') {
      at = skip_blanks(at, end);
      if (at != end && *at == format.delimiter) at = skip_blanks(at + 1, end);
    }
    if (at == end) {
      complaint = "holds " + std::to_string(column) + " values where " + std::to_string(wanted) + " are due";
      return LineKind::broken;
    }
    const PointField field = format.columns[column];
    if (field == PointField::none) {
      at = skip_word(at, end, format.delimiter);
    } else {
      double value = 0.0;
      const char* word = at;
      if (!parse_number(at, end, value) || (at != end && !is_blank(*at) && *at != format.delimiter)) {
        const char* word_end = skip_word(word, end, format.delimiter);
        complaint = "holds '" +
                    std::string(word, std::min<std::size_t>(20, static_cast<std::size_t>(word_end - word))) +
                    "' where a number is due";
        return LineKind::broken;
      }
      if (static_cast<std::size_t>(field) < stored_field_count) {
        row.value[static_cast<std::size_t>(field)] = value;
      } else {
        unpack_colour(value, field == PointField::packed_rgb_bits, row);
      }
    }
    if (format.delimiter == ' ') at = skip_blanks(at, end);
  }
  at = skip_blanks(at, end);
  if (at != end && *at == format.delimiter) at = skip_blanks(at + 1, end);  // a delimiter may close the line
  if (at != end) {
    complaint = "holds more than the " + std::to_string(wanted) + " values that are due";
    return LineKind::broken;
  }
  return LineKind::point;
}

void append_row(const Row& row, const TextRowFormat& format, const PresentArrays& present, Cloud& cloud) {
  const auto point = static_cast<std::uint32_t>(cloud.size());
  cloud.x.push_back(offset_from(row[PointField::x], cloud.origin_mm.x()));
  cloud.y.push_back(offset_from(row[PointField::y], cloud.origin_mm.y()));
  cloud.z.push_back(offset_from(row[PointField::z], cloud.origin_mm.z()));
  if (present.points_a_normal > 0) {
    cloud.normals.push_back(
        {point, packed_normal(offset_from(row[PointField::normal_x], 0.0), offset_from(row[PointField::normal_y], 0.0),
                              offset_from(row[PointField::normal_z], 0.0))});
  }
  if (present.colours) {
    cloud.colours.push_back({packed_colour(row[PointField::red], format.colour_scale),
                             packed_colour(row[PointField::green], format.colour_scale),
                             packed_colour(row[PointField::blue], format.colour_scale)});
  }
  if (present.sigma) cloud.sigma_mm.push_back(offset_from(row[PointField::sigma], 0.0));
}

// A run of whole lines within the text block, and what parsing it gave.
struct Piece {
  const char* begin = nullptr;
  const char* end = nullptr;
  std::uint64_t lines = 0;  // counted up to the broken line, if any, which is then the last
  Cloud cloud;
  std::string complaint;
};

void clear_points(Cloud& cloud) {
  cloud.x.clear();
  cloud.y.clear();
  cloud.z.clear();
  cloud.normals.clear();
  cloud.colours.clear();
  cloud.sigma_mm.clear();
}

template <class UseLine>
void for_each_line(const char* begin, const char* end, const UseLine& use_line) {
  while (begin != end) {
    const auto* found = static_cast<const char*>(std::memchr(begin, '\n', static_cast<std::size_t>(end - begin)));
    const char* line_end = found == nullptr ? end : found;
    if (!use_line(begin, line_end)) return;
    begin = found == nullptr ? end : found + 1;
  }
}

void parse_piece(const TextRowFormat& format, Piece& piece) {
  const PresentArrays present = format.present();
  clear_points(piece.cloud);
  piece.lines = 0;
  piece.complaint.clear();
  Row row;
  for_each_line(piece.begin, piece.end, [&](const char* begin, const char* end) {
    ++piece.lines;
    const LineKind kind = parse_line(begin, end, format, row, piece.complaint);
    if (kind == LineKind::point) append_row(row, format, present, piece.cloud);
    return kind != LineKind::broken;
  });
}

Vector3 origin_of_text(const char* begin, const char* end, const TextRowFormat& format) {
  std::vector<Vector3> sample;
  Row row;
  std::string complaint;
  for_each_line(begin, end, [&](const char* line_begin, const char* line_end) {
    if (parse_line(line_begin, line_end, format, row, complaint) == LineKind::point) {
      sample.emplace_back(row[PointField::x], row[PointField::y], row[PointField::z]);
    }
    return sample.size() < origin_sample_lines;
  });
  return local_origin(sample);
}

// End of the first `lines` lines of [begin, end), and how many were found.
std::pair<const char*, std::uint64_t> end_of_lines(const char* begin, const char* end, std::uint64_t lines) {
  std::uint64_t found = 0;
  const char* at = begin;
  while (found < lines && at != end) {
    const auto* line_end = static_cast<const char*>(std::memchr(at, '\n', static_cast<std::size_t>(end - at)));
    at = line_end == nullptr ? end : line_end + 1;
    ++found;
  }
  return {at, found};
}

// Cuts [begin, end) into pieces of whole lines.
std::size_t cut_into_pieces(const char* begin, const char* end, std::vector<Piece>& pieces) {
  std::size_t count = 0;
  while (begin != end) {
    const char* cut = end;
    if (static_cast<std::size_t>(end - begin) > piece_bytes) {
      const char* from = begin + piece_bytes;
      const auto* found = static_cast<const char*>(std::memchr(from, '\n', static_cast<std::size_t>(end - from)));
      if (found != nullptr) cut = found + 1;
    }
    if (pieces.size() == count) pieces.emplace_back();
    pieces[count].begin = begin;
    pieces[count].end = cut;
    ++count;
    begin = cut;
  }
  return count;
}

}  // namespace

PresentArrays TextRowFormat::present() const {
  const auto has = [this](PointField field) {
    return std::find(columns.begin(), columns.end(), field) != columns.end();
  };
  PresentArrays present;
  present.points_a_normal = has(PointField::normal_x) && has(PointField::normal_y) && has(PointField::normal_z) ? 1 : 0;
  present.colours = (has(PointField::red) && has(PointField::green) && has(PointField::blue)) ||
                    has(PointField::packed_rgb_bits) || has(PointField::packed_rgb_integer);
  present.sigma = has(PointField::sigma);
  return present;
}

Outcome<TextRowsRead> read_text_rows(const FileBytes& file, const TextRowsPlace& place, const TextRowFormat& format,
                                     std::size_t block_points, Workers& workers, const UseBlock& use_block) {
  TextRowsRead read;
  read.end_offset = place.offset;
  std::vector<char> text(static_cast<std::size_t>(
      std::min<std::uint64_t>(text_block_bytes, file.size() - std::min(file.size(), place.offset)) + 1));
  std::vector<Piece> pieces;
  Cloud block;
  bool origin_known = false;
  std::uint64_t offset = place.offset;
  std::size_t carried = 0;  // bytes of an unfinished line at the start of `text`
  bool at_end = false;
  while (!at_end && (!place.line_count || read.lines < *place.line_count)) {
    const std::size_t got = file.read_some(offset, text.data() + carried, text.size() - carried);
    offset += got;
    const std::size_t filled = carried + got;
    at_end = got == 0 || offset >= file.size();
    const char* begin = text.data();
    const char* end = begin + filled;
    if (!at_end) {
      while (end != begin && end[-1] != '\n') --end;
      if (end == begin && filled == text.size()) {
        return file.malformed("line " + std::to_string(place.lines_before + read.lines + 1) + " is longer than 4 MiB");
      }
    }
    if (place.line_count) end = end_of_lines(begin, end, *place.line_count - read.lines).first;
    if (!origin_known && begin != end) {
      block.origin_mm = origin_of_text(begin, end, format);
      origin_known = true;
    }
    const std::size_t piece_count = cut_into_pieces(begin, end, pieces);
    workers.for_chunks(piece_count, 1, [&](std::size_t i, std::size_t, std::size_t) {
      pieces[i].cloud.origin_mm = block.origin_mm;
      parse_piece(format, pieces[i]);
    });
    for (std::size_t i = 0; i < piece_count; ++i) {
      read.lines += pieces[i].lines;
      if (!pieces[i].complaint.empty()) {
        return file.malformed("line " + std::to_string(place.lines_before + read.lines) + " " + pieces[i].complaint);
      }
      read.points += pieces[i].cloud.size();
      append_points(block, pieces[i].cloud);
      if (block.size() >= block_points) {
        const Vector3 origin = block.origin_mm;
        use_block(block);
        clear_points(block);
        block.origin_mm = origin;
      }
    }
    read.end_offset += static_cast<std::uint64_t>(end - begin);
    carried = static_cast<std::size_t>(text.data() + filled - end);
    std::memmove(text.data(), end, carried);
  }
  if (place.line_count && read.lines < *place.line_count) {
    return file.truncated("the header promises " + std::to_string(*place.line_count) + " points, the file holds " +
                          std::to_string(read.lines));
  }
  if (block.size() > 0) use_block(block);
  return read;
}

}  // namespace rimwright
