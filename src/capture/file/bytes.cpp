#include "capture/file/bytes.h"

#include <fcntl.h>
#include <sys/stat.h>
#include <unistd.h>

#include <algorithm>
#include <cerrno>
#include <utility>

namespace rimwright {

namespace {
constexpr std::size_t buffer_bytes = std::size_t{1} << 18;
}

Outcome<FileBytes> FileBytes::open(const std::filesystem::path& path) {
  FileBytes file;
  file.name_ = path.string();
  struct stat status {};
  if (::stat(path.c_str(), &status) != 0) {
    if (errno == ENOENT || errno == ENOTDIR) {
      return refuse(RefusalReason::file_not_found, file.name_ + ": there is no such file",
                    "check the name of the scan");
    }
    return refuse(RefusalReason::file_not_readable, file.name_ + ": " + std::strerror(errno),
                  "check the name and the permissions of the scan");
  }
  if (!S_ISREG(status.st_mode)) {
    return refuse(RefusalReason::file_not_readable, file.name_ + ": this is not a file", "name the scan's own file");
  }
  file.descriptor_ = ::open(path.c_str(), O_RDONLY | O_CLOEXEC | O_NONBLOCK);
  if (file.descriptor_ < 0) {
    return refuse(RefusalReason::file_not_readable, file.name_ + ": " + std::strerror(errno),
                  "check the permissions of the scan");
  }
  file.size_ = static_cast<std::uint64_t>(std::max<off_t>(0, status.st_size));
  return file;
}

FileBytes::FileBytes(FileBytes&& other) noexcept
    : descriptor_(std::exchange(other.descriptor_, -1)), size_(other.size_), name_(std::move(other.name_)) {}

FileBytes& FileBytes::operator=(FileBytes&& other) noexcept {
  std::swap(descriptor_, other.descriptor_);
  std::swap(size_, other.size_);
  std::swap(name_, other.name_);
  return *this;
}

FileBytes::~FileBytes() {
  if (descriptor_ >= 0) ::close(descriptor_);
}

std::size_t FileBytes::read_some(std::uint64_t offset, void* into, std::size_t count) const {
  std::size_t done = 0;
  while (done < count) {
    const ssize_t got =
        ::pread(descriptor_, static_cast<char*>(into) + done, count - done, static_cast<off_t>(offset + done));
    if (got < 0 && errno == EINTR) continue;
    if (got <= 0) break;
    done += static_cast<std::size_t>(got);
  }
  return done;
}

tl::unexpected<Refusal> FileBytes::malformed(const std::string& what) const {
  return refuse(RefusalReason::file_malformed, name_ + ": " + what, "export the scan again");
}
tl::unexpected<Refusal> FileBytes::truncated(const std::string& what) const {
  return refuse(RefusalReason::file_truncated, name_ + ": " + what, "copy or export the scan again");
}
tl::unexpected<Refusal> FileBytes::not_supported(const std::string& what, std::string what_to_do) const {
  return refuse(RefusalReason::file_not_supported, name_ + ": " + what, std::move(what_to_do));
}
tl::unexpected<Refusal> FileBytes::over_limit(const std::string& what, std::string what_to_do) const {
  return refuse(RefusalReason::file_over_limit, name_ + ": " + what, std::move(what_to_do));
}
tl::unexpected<Refusal> FileBytes::too_few_points(const std::string& what) const {
  return refuse(RefusalReason::too_few_points, name_ + ": " + what, "give a scan that shows the rim");
}

bool ByteStream::take(void* into, std::size_t count) {
  if (count == 0) return true;
  if (end_ - begin_ < count) {
    if (left() < count) return false;
    if (buffer_.empty()) buffer_.resize(static_cast<std::size_t>(std::min<std::uint64_t>(buffer_bytes, left())));
    std::copy(buffer_.begin() + static_cast<std::ptrdiff_t>(begin_),
              buffer_.begin() + static_cast<std::ptrdiff_t>(end_), buffer_.begin());
    end_ -= begin_;
    begin_ = 0;
    if (count > buffer_.size()) buffer_.resize(count);
    const std::size_t got = file_.read_some(next_offset_, buffer_.data() + end_, buffer_.size() - end_);
    next_offset_ += got;
    end_ += got;
    if (end_ < count) return false;
  }
  std::memcpy(into, buffer_.data() + begin_, count);
  begin_ += count;
  return true;
}

bool ByteStream::skip(std::uint64_t count) {
  if (left() < count) return false;
  const std::uint64_t buffered = end_ - begin_;
  if (count <= buffered) {
    begin_ += count;
  } else {
    next_offset_ += count - buffered;
    begin_ = end_ = 0;
  }
  return true;
}

bool LineStream::next(std::string_view& line) {
  if (too_long_) return false;
  std::size_t searched = begin_;
  while (true) {
    if (begin_ < end_) {
      const char* start = buffer_.data() + begin_;
      const char* found = static_cast<const char*>(std::memchr(buffer_.data() + searched, '\n', end_ - searched));
      if (found != nullptr && found <= start + longest_line) {
        line = std::string_view(start, static_cast<std::size_t>(found - start));
        begin_ += line.size() + 1;
        break;
      }
    }
    if (end_ - begin_ > longest_line) {
      too_long_ = true;
      ++line_number_;
      return false;
    }
    if (buffer_.empty()) {
      buffer_.resize(static_cast<std::size_t>(std::min<std::uint64_t>(
          longest_line + buffer_bytes, file_.size() - std::min(file_.size(), next_offset_) + 1)));
    }
    std::copy(buffer_.begin() + static_cast<std::ptrdiff_t>(begin_),
              buffer_.begin() + static_cast<std::ptrdiff_t>(end_), buffer_.begin());
    end_ -= begin_;
    begin_ = 0;
    searched = end_;
    const std::size_t got =
        file_.read_some(next_offset_, buffer_.data() + end_, std::min(buffer_bytes, buffer_.size() - end_));
    next_offset_ += got;
    end_ += got;
    if (got == 0) {
      if (begin_ == end_) return false;
      line = std::string_view(buffer_.data() + begin_, end_ - begin_);
      begin_ = end_;
      break;
    }
  }
  ++line_number_;
  if (!line.empty() && line.back() == '\r') line.remove_suffix(1);
  return true;
}

}  // namespace rimwright
