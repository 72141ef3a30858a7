#include "core/write_whole.h"

#include <fcntl.h>
#include <stdlib.h>
#include <sys/stat.h>
#include <unistd.h>

#include <cerrno>
#include <cstdio>
#include <system_error>

namespace rimwright {
namespace {

bool write_and_flush(int descriptor, std::string_view bytes) {
  while (!bytes.empty()) {
    const ssize_t written = ::write(descriptor, bytes.data(), bytes.size());
    if (written < 0 && errno == EINTR) continue;
    if (written <= 0) return false;
    bytes.remove_prefix(static_cast<std::size_t>(written));
  }
  return ::fsync(descriptor) == 0;
}

}  // namespace

Outcome<void> write_whole(const std::string& path, std::string_view bytes) {
  struct stat status {};
  if (::stat(path.c_str(), &status) == 0 && !S_ISREG(status.st_mode)) {
    return refuse(RefusalReason::output_not_writable, path + " is there already and is not a file", "name a file");
  }
  // A name of its own for every writer, beside the target so that the rename stays within one file system.
  std::string aside = path + ".writing-XXXXXX";
  const auto failed = [&](int error) {
    return refuse(RefusalReason::output_not_writable,
                  path + " cannot be written (" + std::generic_category().message(error) + ")",
                  "check that the folder exists, may be written to, and that the disk has room");
  };
  const int descriptor = ::mkostemp(aside.data(), O_CLOEXEC);
  if (descriptor < 0) return failed(errno);
  bool written = write_and_flush(descriptor, bytes) && ::fchmod(descriptor, 0644) == 0;
  int error = errno;
  if (::close(descriptor) != 0 && written) {
    written = false;
    error = errno;
  }
  if (written && ::rename(aside.c_str(), path.c_str()) != 0) {
    written = false;
    error = errno;
  }
  if (written) return {};
  ::unlink(aside.c_str());
  return failed(error);
}

}  // namespace rimwright
