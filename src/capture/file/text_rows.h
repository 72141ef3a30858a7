// Points as lines of numbers (text PLY, PCD, XYZ, PTS, CSV): blocks of text are cut at line ends and parsed side by
// side; the points come out in file order whatever the number of threads.
#pragma once

#include <cstddef>
#include <cstdint>
#include <optional>
#include <string>
#include <vector>

#include "capture/file/bytes.h"
#include "capture/file/cloud_arrays.h"

namespace rimwright {

struct TextRowFormat {
  char delimiter = ' ';             // ' ' = any run of blanks; else exactly one of it between values
  std::vector<PointField> columns;  // what each value of a line is; `none` = skipped. Every line has all of them
  double colour_scale = 1.0;        // steps of 1/255 per unit of a colour value
  bool may_skip_lines = false;      // empty lines and lines beginning with '#' or "//" hold no point

  [[nodiscard]] PresentArrays present() const;
};

struct TextRowsRead {
  std::uint64_t points = 0;
  std::uint64_t lines = 0;       // all lines taken, skipped ones too
  std::uint64_t end_offset = 0;  // behind the last line taken
};

// Where the rows lie: from `offset` on; `lines_before` of the file come earlier (for messages). With `line_count`
// exactly that many lines are taken, else all lines to the end of the file.
struct TextRowsPlace {
  std::uint64_t offset = 0;
  std::uint64_t lines_before = 0;
  std::optional<std::uint64_t> line_count;
};

// Longest line 1 MiB. Refusals: file_malformed with the line's number, file_truncated when lines are missing.
[[nodiscard]] Outcome<TextRowsRead> read_text_rows(const FileBytes& file, const TextRowsPlace& place,
                                                   const TextRowFormat& format, std::size_t block_points,
                                                   Workers& workers, const UseBlock& use_block);

}  // namespace rimwright
