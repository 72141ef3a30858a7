#include "capture/file/xyz.h"

#include <algorithm>
#include <array>
#include <cctype>
#include <cmath>
#include <limits>
#include <optional>
#include <string>
#include <string_view>
#include <vector>

#include "capture/file/field_names.h"
#include "capture/file/numbers.h"
#include "capture/file/text_rows.h"

namespace rimwright {

namespace {

constexpr std::size_t judged_lines = 256;
constexpr std::size_t most_header_lines = 64;
constexpr std::size_t most_columns = 64;

using Words = std::vector<std::string_view>;

std::string_view trimmed(std::string_view text) {
  while (!text.empty() && is_blank(text.front())) text.remove_prefix(1);
  while (!text.empty() && is_blank(text.back())) text.remove_suffix(1);
  return text;
}

Words split(std::string_view line, char delimiter) {
  Words words;
  if (delimiter == ' ') {
    for (std::string_view word = take_word(line); !word.empty(); word = take_word(line)) words.push_back(word);
    return words;
  }
  line = trimmed(line);
  if (!line.empty() && line.back() == delimiter) line.remove_suffix(1);
  while (true) {
    const std::size_t cut = line.find(delimiter);
    words.push_back(trimmed(line.substr(0, cut)));
    if (cut == std::string_view::npos) return words;
    line.remove_prefix(cut + 1);
  }
}

// The delimiter a line of numbers shows; nothing where a comma may be either a delimiter or a decimal comma.
std::optional<char> delimiter_of(std::string_view line) {
  line = trimmed(line);
  const bool commas = line.find(',') != std::string_view::npos;
  if (line.find(';') != std::string_view::npos) return commas ? std::nullopt : std::optional(';');
  if (!commas) return ' ';
  // Blanks beside commas only, or none at all: commas separate. Blanks between "1,5 2,5": nobody knows.
  for (std::size_t i = 0; i < line.size(); ++i) {
    if (!is_blank(line[i])) continue;
    const std::size_t before = line.find_last_not_of(" \t", i);
    const std::size_t behind = line.find_first_not_of(" \t", i);
    if (line[before] != ',' && line[behind] != ',') return std::nullopt;
  }
  return ',';
}

PointField field_named(std::string_view word) {
  std::string name;
  for (const char c : word) {
    if (c != '"' && c != '\'') name.push_back(static_cast<char>(std::tolower(static_cast<unsigned char>(c))));
  }
  return point_field_named(name);
}

bool is_number(std::string_view word) {
  double value = 0.0;
  const char* at = word.data();
  return !word.empty() && parse_number(at, word.data() + word.size(), value) && at == word.data() + word.size();
}

// What the values of three neighbouring columns look like on the judged lines.
struct ColumnsLook {
  bool colour = true;
  bool normal = true;
};

ColumnsLook look_of(const std::vector<std::vector<double>>& rows, std::size_t first) {
  ColumnsLook look;
  for (const auto& row : rows) {
    double squares = 0.0;
    for (std::size_t i = first; i < first + 3; ++i) {
      const double value = row[i];
      if (!(value >= 0.0 && value <= 255.0) || value != std::floor(value)) look.colour = false;
      squares += value * value;
    }
    if (!(std::abs(std::sqrt(squares) - 1.0) <= 0.02)) look.normal = false;
  }
  // All channels 0 or 1 on every line is a normal along an axis before it is a colour.
  if (look.normal) look.colour = false;
  return look;
}

void name_columns_by_look(const std::vector<std::vector<double>>& rows, std::vector<PointField>& columns) {
  columns[0] = PointField::x;
  columns[1] = PointField::y;
  columns[2] = PointField::z;
  bool colour_known = false, normal_known = false;
  const std::size_t last_start = columns.size() >= 3 ? columns.size() - 3 : 0;
  for (std::size_t first = 3; first <= last_start;) {
    const ColumnsLook look = look_of(rows, first);
    if (look.colour && !colour_known && !(columns.size() == 7 && first == 3 && look_of(rows, 4).colour)) {
      columns[first] = PointField::red;
      columns[first + 1] = PointField::green;
      columns[first + 2] = PointField::blue;
      colour_known = true;
      first += 3;
    } else if (look.normal && !normal_known) {
      columns[first] = PointField::normal_x;
      columns[first + 1] = PointField::normal_y;
      columns[first + 2] = PointField::normal_z;
      normal_known = true;
      first += 3;
    } else {
      ++first;
    }
  }
}

// How the file is laid out, as its first lines show.
struct TextLayout {
  TextRowsPlace place;
  TextRowFormat format;
  std::optional<std::uint64_t> promised_points;
};

bool is_skipped(std::string_view line) {
  line = trimmed(line);
  return line.empty() || line.front() == '#' || line.substr(0, 2) == "//";
}

Outcome<TextLayout> find_layout(const FileBytes& file) {
  TextLayout layout;
  layout.format.may_skip_lines = true;
  LineStream lines(file, 0);
  std::string_view line;
  std::string names_line;
  std::uint64_t line_start = 0;
  std::size_t header_lines = 0;
  bool found = false;
  while (line_start = lines.position(), lines.next(line)) {
    if (is_skipped(line)) {
      // "# x y z nx ny nz" names columns too.
      std::string_view words = trimmed(line);
      while (!words.empty() && (words.front() == '#' || words.front() == '/')) words.remove_prefix(1);
      if (!trimmed(words).empty() && names_line.empty()) {
        const std::string_view first = take_word(words);
        if (first.size() <= 2 && (first.front() == 'x' || first.front() == 'X')) names_line = trimmed(line);
      }
      continue;
    }
    const std::optional<char> delimiter = delimiter_of(line);
    const Words words = split(line, delimiter.value_or(' '));
    if (is_number(words.front()) || !delimiter) {
      if (words.size() == 1 && delimiter && !layout.promised_points && header_lines == 0) {
        std::uint64_t count = 0;
        if (parse_integer(words.front(), count)) {
          layout.promised_points = count;
          continue;
        }
      }
      if (!delimiter) {
        return file.malformed(lines.where() +
                              " mixes commas with blanks or semicolons, so that a comma may be a decimal "
                              "comma; decimal points are needed");
      }
      layout.format.delimiter = *delimiter;
      if (words.size() < 3) {
        return file.malformed(lines.where() + " holds " + std::to_string(words.size()) +
                              " values where a point needs x, y and z");
      }
      if (words.size() > most_columns) return file.malformed(lines.where() + " holds more than 64 values");
      layout.format.columns.assign(words.size(), PointField::none);
      layout.place = {line_start, lines.line_number() - 1, std::nullopt};
      found = true;
      break;
    }
    if (++header_lines > most_header_lines) return file.malformed("its first 64 lines hold no numbers");
    names_line = trimmed(line);
  }
  if (lines.too_long()) return file.malformed(lines.where() + " is longer than 1 MiB");
  if (!found) return file.too_few_points("the file holds no points");

  if (!names_line.empty()) {
    std::string_view names = names_line;
    while (!names.empty() && (names.front() == '#' || names.front() == '/')) names.remove_prefix(1);
    char delimiter = ' ';
    for (const char candidate : {';', ',', '\t'}) {
      if (names.find(candidate) != std::string_view::npos) {
        delimiter = candidate;
        break;
      }
    }
    const Words words = split(trimmed(names), delimiter == '\t' ? ' ' : delimiter);
    std::vector<PointField> named;
    std::array<int, stored_field_count> times{};
    for (const std::string_view word : words) {
      named.push_back(field_named(word));
      if (named.back() != PointField::none) ++times[static_cast<std::size_t>(named.back())];
    }
    const bool has_position = times[0] == 1 && times[1] == 1 && times[2] == 1;
    const bool unique = std::all_of(times.begin(), times.end(), [](int t) { return t <= 1; });
    if (has_position && unique && named.size() == layout.format.columns.size()) {
      layout.format.columns = named;
      return layout;
    }
    if (has_position && unique) {
      return file.malformed("its header names " + std::to_string(named.size()) + " columns, line " +
                            std::to_string(layout.place.lines_before + 1) + " holds " +
                            std::to_string(layout.format.columns.size()) + " values");
    }
  }

  // No names: judge by the numbers themselves.
  std::vector<std::vector<double>> rows;
  LineStream again(file, layout.place.offset, layout.place.lines_before);
  while (rows.size() < judged_lines && again.next(line)) {
    if (is_skipped(line)) continue;
    const Words words = split(line, layout.format.delimiter);
    if (words.size() != layout.format.columns.size()) break;  // the reading proper complains, with the line
    std::vector<double>& row = rows.emplace_back();
    for (const std::string_view word : words) {
      double value = std::numeric_limits<double>::quiet_NaN();
      const char* at = word.data();
      if (!parse_number(at, word.data() + word.size(), value)) value = std::numeric_limits<double>::quiet_NaN();
      row.push_back(value);
    }
  }
  name_columns_by_look(rows, layout.format.columns);
  return layout;
}

Outcome<void> read_points(const FileBytes& file, std::size_t block_points, std::uint64_t most_points, Workers& workers,
                          const UseBlock& use_block) {
  auto layout = find_layout(file);
  if (!layout) return tl::unexpected(layout.error());
  const std::uint64_t shortest_line = 2 * layout->format.columns.size();
  const std::uint64_t most_lines = file.size() / shortest_line + 1;
  if (layout->promised_points && *layout->promised_points > most_lines) {
    return file.truncated("its first line promises " + std::to_string(*layout->promised_points) +
                          " points, the file holds at most " + std::to_string(most_lines));
  }
  if (most_lines > most_points) {
    return file.over_limit(
        "it may hold " + std::to_string(most_lines) + " points, more than " + std::to_string(most_points),
        "thin the scan before exporting it, or save it as binary PLY");
  }
  auto read = read_text_rows(file, layout->place, layout->format, block_points, workers, use_block);
  if (!read) return tl::unexpected(read.error());
  if (layout->promised_points && *layout->promised_points != read->points) {
    const std::string what = "its first line promises " + std::to_string(*layout->promised_points) +
                             " points, the file holds " + std::to_string(read->points);
    if (*layout->promised_points > read->points) return file.truncated(what);
    return file.malformed(what);
  }
  if (read->points == 0) return file.too_few_points("the file holds no points");
  return {};
}

}  // namespace

Outcome<ScanFile> read_xyz(const FileBytes& file, const ReadCloudSettings& settings, Workers& workers) {
  ScanFile scan;
  auto read = read_points(file, std::numeric_limits<std::size_t>::max(), settings.most_points, workers,
                          [&](Cloud& block) { scan.cloud = std::move(block); });
  if (!read) return tl::unexpected(read.error());
  return scan;
}

Outcome<void> for_each_xyz_block(const FileBytes& file, std::size_t block_points, Workers& workers,
                                 const UseBlock& use_block) {
  return read_points(file, block_points, std::numeric_limits<std::uint64_t>::max(), workers, use_block);
}

}  // namespace rimwright
