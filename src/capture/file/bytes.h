// A file to read from, and forward readers over it that cannot run past its end.
//
// Readings are positional, so several threads may read one file at once. The size is taken once; a file that
// shrinks while it is read is met as 'truncated', never as a crash. Only regular files are opened: a folder, a pipe
// or a device is refused.
#pragma once

#include <cstddef>
#include <cstdint>
#include <cstring>
#include <filesystem>
#include <string>
#include <string_view>
#include <vector>

#include "core/refusal.h"

namespace rimwright {

class FileBytes {
 public:
  // Refusals: file_not_found, file_not_readable.
  [[nodiscard]] static Outcome<FileBytes> open(const std::filesystem::path& path);
  FileBytes(FileBytes&& other) noexcept;
  FileBytes& operator=(FileBytes&& other) noexcept;
  FileBytes(const FileBytes&) = delete;
  FileBytes& operator=(const FileBytes&) = delete;
  ~FileBytes();

  [[nodiscard]] std::uint64_t size() const { return size_; }
  [[nodiscard]] const std::string& name() const { return name_; }
  // Bytes read into `into`, at most `count`; fewer only at the end of the file or after a read error.
  [[nodiscard]] std::size_t read_some(std::uint64_t offset, void* into, std::size_t count) const;
  [[nodiscard]] bool read_exactly(std::uint64_t offset, void* into, std::size_t count) const {
    return read_some(offset, into, count) == count;
  }

  // Refusals that name the file. `what` continues the sentence "<file>: ...".
  [[nodiscard]] tl::unexpected<Refusal> malformed(const std::string& what) const;
  [[nodiscard]] tl::unexpected<Refusal> truncated(const std::string& what) const;
  [[nodiscard]] tl::unexpected<Refusal> not_supported(const std::string& what, std::string what_to_do) const;
  [[nodiscard]] tl::unexpected<Refusal> over_limit(const std::string& what, std::string what_to_do) const;
  [[nodiscard]] tl::unexpected<Refusal> too_few_points(const std::string& what) const;

 private:
  FileBytes() = default;
  int descriptor_ = -1;
  std::uint64_t size_ = 0;
  std::string name_;
};

// Bytes in file order through one reused buffer.
class ByteStream {
 public:
  ByteStream(const FileBytes& file, std::uint64_t offset) : file_(file), next_offset_(offset) {}
  [[nodiscard]] bool take(void* into, std::size_t count);  // false, and nothing taken, when fewer are left
  [[nodiscard]] bool skip(std::uint64_t count);
  [[nodiscard]] std::uint64_t position() const { return next_offset_ - (end_ - begin_); }
  [[nodiscard]] std::uint64_t left() const { return file_.size() - position(); }

 private:
  const FileBytes& file_;
  std::uint64_t next_offset_;  // of the file, behind the buffered bytes
  std::vector<char> buffer_;
  std::size_t begin_ = 0, end_ = 0;
};

// Lines in file order, without their line ends (LF or CR LF). A line longer than `longest_line` ends the stream with
// too_long() set.
class LineStream {
 public:
  static constexpr std::size_t longest_line = std::size_t{1} << 20;
  LineStream(const FileBytes& file, std::uint64_t offset, std::uint64_t lines_before = 0)
      : file_(file), next_offset_(offset), line_number_(lines_before) {}
  [[nodiscard]] bool next(std::string_view& line);                          // the view holds until the next call
  [[nodiscard]] std::uint64_t line_number() const { return line_number_; }  // of the line last returned, from 1
  [[nodiscard]] std::uint64_t position() const { return next_offset_ - (end_ - begin_); }
  [[nodiscard]] bool too_long() const { return too_long_; }
  [[nodiscard]] std::string where() const { return "line " + std::to_string(line_number_); }

 private:
  const FileBytes& file_;
  std::uint64_t next_offset_;
  std::uint64_t line_number_;
  std::vector<char> buffer_;
  std::size_t begin_ = 0, end_ = 0;
  bool too_long_ = false;
};

}  // namespace rimwright
