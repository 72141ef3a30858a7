#include "core/small_file.h"

#include <fcntl.h>
#include <sys/stat.h>
#include <unistd.h>

#include <algorithm>
#include <array>
#include <cerrno>
#include <system_error>

namespace rimwright {
namespace {

class Descriptor {
 public:
  // Without O_NONBLOCK, opening a pipe waits for someone to write into it.
  explicit Descriptor(const std::filesystem::path& path)
      : number_(::open(path.c_str(), O_RDONLY | O_CLOEXEC | O_NONBLOCK)) {}
  ~Descriptor() {
    if (number_ >= 0) ::close(number_);
  }
  Descriptor(const Descriptor&) = delete;
  Descriptor& operator=(const Descriptor&) = delete;
  [[nodiscard]] int number() const { return number_; }

 private:
  int number_;
};

tl::unexpected<Refusal> cannot_read(const std::string& name, int error) {
  const bool absent = error == ENOENT || error == ENOTDIR;
  return refuse(
      absent ? RefusalReason::file_not_found : RefusalReason::file_not_readable,
      absent ? name + " is not there" : name + " cannot be read (" + std::generic_category().message(error) + ")",
      absent ? "check the name" : "check that it is a file and that you may read it");
}

}  // namespace

Outcome<std::string> read_small_file(const std::filesystem::path& path, std::size_t most_bytes) {
  const std::string name = path.empty() ? "''" : path.string();
  const Descriptor file(path);
  if (file.number() < 0) return cannot_read(name, errno);
  struct stat status {};
  if (::fstat(file.number(), &status) != 0) return cannot_read(name, errno);
  if (!S_ISREG(status.st_mode)) {
    return refuse(RefusalReason::file_not_readable, name + " is not a file", "give the file itself");
  }
  std::string bytes;
  std::array<char, 65536> block{};
  while (bytes.size() <= most_bytes) {
    const std::size_t wanted = std::min(block.size(), most_bytes + 1 - bytes.size());
    const ssize_t got = ::read(file.number(), block.data(), wanted);
    if (got < 0 && errno == EINTR) continue;
    if (got < 0) return cannot_read(name, errno);
    if (got == 0) return bytes;
    bytes.append(block.data(), static_cast<std::size_t>(got));
  }
  return refuse(RefusalReason::file_over_limit, name + " holds more than " + std::to_string(most_bytes) + " bytes",
                "check that this is the right file");
}

}  // namespace rimwright
