#include "report/result_folder.h"

#include <fcntl.h>
#include <sys/file.h>
#include <sys/stat.h>
#include <unistd.h>

#include <algorithm>
#include <cerrno>
#include <cstdio>
#include <cstring>
#include <filesystem>
#include <random>
#include <system_error>
#include <utility>

#include "core/parallel.h"

namespace rimwright {
namespace {

namespace fs = std::filesystem;

tl::unexpected<Refusal> not_writable(const std::string& what, const std::string& what_to_do) {
  return refuse(RefusalReason::output_not_writable, what, what_to_do);
}

tl::unexpected<Refusal> failed(const std::string& doing, int error) {
  const std::string what = "cannot " + doing + ": " + std::generic_category().message(error);
  if (error == ENOSPC || error == EDQUOT || error == EFBIG) {
    return not_writable(what, "free some space; an earlier result is untouched");
  }
  return not_writable(what, "choose another --out; an earlier result is untouched");
}

// Held while siblings are looked at, made or put in place, so that no run removes what another has just made.
class FolderLock {
 public:
  explicit FolderLock(const std::string& folder) : fd_(::open(folder.c_str(), O_RDONLY | O_DIRECTORY | O_CLOEXEC)) {
    if (fd_ >= 0) {
      while (::flock(fd_, LOCK_EX) != 0 && errno == EINTR) {
      }
    }
  }
  ~FolderLock() {
    if (fd_ >= 0) ::close(fd_);
  }
  FolderLock(const FolderLock&) = delete;
  FolderLock& operator=(const FolderLock&) = delete;
  void flush() const {
    if (fd_ >= 0) ::fsync(fd_);
  }

 private:
  int fd_;
};

std::string sibling_prefix(const fs::path& out) { return "." + out.filename().string() + ".writing-"; }

// A sibling that nobody holds is left from a run that was killed.
void remove_abandoned(const fs::path& parent, const std::string& prefix) {
  std::error_code ignored;
  std::vector<fs::path> found;
  for (fs::directory_iterator entry(parent, ignored), end; !ignored && entry != end; entry.increment(ignored)) {
    if (entry->path().filename().string().rfind(prefix, 0) == 0) found.push_back(entry->path());
  }
  for (const fs::path& path : found) {
    const int fd = ::open(path.c_str(), O_RDONLY | O_DIRECTORY | O_NOFOLLOW | O_CLOEXEC);
    if (fd < 0) continue;
    if (::flock(fd, LOCK_EX | LOCK_NB) == 0) fs::remove_all(path, ignored);
    ::close(fd);
  }
}

Outcome<void> check_replaceable(const fs::path& out, const std::vector<std::string>& known) {
  std::error_code error;
  const fs::file_status status = fs::status(out, error);
  if (!fs::exists(status)) return {};
  if (!fs::is_directory(status)) return not_writable(out.string() + " is a file", "give --out a folder");
  for (fs::directory_iterator entry(out, error), end; !error && entry != end; entry.increment(error)) {
    const std::string name = entry->path().filename().string();
    if (name == work_folder_name() && fs::is_directory(entry->symlink_status(error))) continue;
    if (std::find(known.begin(), known.end(), name) == known.end() || !entry->is_regular_file(error)) {
      return not_writable(out.string() + " holds '" + name + "', which is not part of a result",
                          "give --out a new folder, or one with an earlier result");
    }
  }
  if (error) return failed("read the folder " + out.string(), error.value());
  return {};
}

Outcome<void> flush_path(const std::string& path) {
  const int fd = ::open(path.c_str(), O_RDONLY | O_CLOEXEC);
  if (fd < 0) return failed("open " + path, errno);
  const int result = ::fsync(fd);
  const int error = errno;
  ::close(fd);
  if (result != 0 && error != EINVAL && error != EROFS) return failed("flush " + path + " to disk", error);
  return {};
}

}  // namespace

const std::vector<std::string>& result_file_names() {
  static const std::vector<std::string> names{"results.json", "stations.csv", "heatmap.png", "heatmap.ply",
                                              "report.html",  "strip.pdf",    "summary.pdf", "faces.ply"};
  return names;
}

const std::string& work_folder_name() {
  static const std::string name = "work";
  return name;
}

Outcome<void> can_hold_result(const std::string& out) { return check_replaceable(out, result_file_names()); }

Outcome<ResultFolder> ResultFolder::open(const std::string& out, const std::vector<std::string>& known_files) {
  if (out.empty()) return not_writable("--out is empty", "give it a folder");
  std::error_code error;
  fs::path path = fs::weakly_canonical(fs::absolute(out, error), error);
  if (error) return failed("use " + out, error.value());
  if (path.filename().empty()) path = path.parent_path();
  if (path.filename().empty() || path == path.root_path())
    return not_writable(out + " cannot be replaced", "give --out a folder");

  ResultFolder folder;
  folder.out_ = path.string();
  folder.parent_ = path.parent_path().string();
  folder.known_files_ = known_files;
  fs::create_directories(folder.parent_, error);
  if (error) return failed("make the folder " + folder.parent_, error.value());
  if (Outcome<void> checked = check_replaceable(path, known_files); !checked) return tl::unexpected(checked.error());

  const FolderLock parent(folder.parent_);
  const std::string prefix = sibling_prefix(path);
  remove_abandoned(folder.parent_, prefix);
  std::random_device random;
  for (int attempt = 0; attempt < 100; ++attempt) {
    const std::string aside =
        folder.parent_ + "/" + prefix + std::to_string(::getpid()) + "-" + std::to_string(random() % 1000000U);
    if (::mkdir(aside.c_str(), 0777) != 0) {
      if (errno == EEXIST) continue;
      return failed("write beside " + folder.out_, errno);
    }
    folder.aside_ = aside;
    folder.lock_ = ::open(aside.c_str(), O_RDONLY | O_DIRECTORY | O_CLOEXEC);
    if (folder.lock_ < 0 || ::flock(folder.lock_, LOCK_EX | LOCK_NB) != 0)
      return failed("write beside " + folder.out_, errno);
    return folder;
  }
  return not_writable("no free name beside " + folder.out_, "choose another --out");
}

ResultFolder::ResultFolder(ResultFolder&& other) noexcept
    : out_(std::move(other.out_)),
      parent_(std::move(other.parent_)),
      aside_(std::exchange(other.aside_, {})),
      known_files_(std::move(other.known_files_)),
      lock_(std::exchange(other.lock_, -1)) {}

ResultFolder::~ResultFolder() {
  if (!aside_.empty()) {
    std::error_code ignored;
    fs::remove_all(aside_, ignored);
  }
  if (lock_ >= 0) ::close(lock_);
}

std::string ResultFolder::path_aside(const std::string& name) const { return aside_ + "/" + name; }

Outcome<void> ResultFolder::write(const std::string& name, std::string_view bytes) {
  const std::string path = path_aside(name);
  const int fd = ::open(path.c_str(), O_WRONLY | O_CREAT | O_EXCL | O_NOFOLLOW | O_CLOEXEC, 0666);
  if (fd < 0) return failed("write " + name, errno);
  int error = 0;
  while (!bytes.empty() && error == 0) {
    const ssize_t written = ::write(fd, bytes.data(), bytes.size());
    if (written >= 0) {
      bytes.remove_prefix(static_cast<std::size_t>(written));
    } else if (errno != EINTR) {
      error = errno;
    }
  }
  if (error == 0) ::sync_file_range(fd, 0, 0, SYNC_FILE_RANGE_WRITE);  // begins what commit() waits for
  if (::close(fd) != 0 && error == 0) error = errno;
  if (error != 0) return failed("write " + name, error);
  return {};
}

Outcome<void> ResultFolder::commit() {
  std::vector<std::string> files;
  std::error_code unread;
  for (fs::directory_iterator entry(aside_, unread), end; !unread && entry != end; entry.increment(unread))
    files.push_back(entry->path());
  if (unread) return failed("read the folder " + aside_, unread.value());
  // At once: one after the other, each waits for a turn of the disk of its own.
  std::vector<Outcome<void>> flushed(files.size());
  all_at_once(files.size(), [&](std::size_t i) { flushed[i] = flush_path(files[i]); });
  for (const Outcome<void>& outcome : flushed)
    if (!outcome) return outcome;
  if (Outcome<void> done = flush_path(aside_); !done) return done;
  const FolderLock parent(parent_);
  if (Outcome<void> checked = check_replaceable(out_, known_files_); !checked) return checked;
  // What is kept for the next run goes along; where that fails it is only made anew then.
  ::rename((out_ + "/" + work_folder_name()).c_str(), (aside_ + "/" + work_folder_name()).c_str());
  // Into a place where nothing is, or an empty folder, a plain rename is one step already.
  if (::rename(aside_.c_str(), out_.c_str()) != 0) {
    if (errno != ENOTEMPTY && errno != EEXIST) return failed("put the result at " + out_, errno);
    if (::renameat2(AT_FDCWD, aside_.c_str(), AT_FDCWD, out_.c_str(), RENAME_EXCHANGE) != 0) {
      if (errno != ENOSYS && errno != EINVAL) return failed("put the result at " + out_, errno);
      // A file system without exchange: two renames. Killed between them, the earlier result is beside, hidden.
      const std::string before =
          parent_ + "/." + fs::path(out_).filename().string() + ".before-" + std::to_string(::getpid());
      if (::rename(out_.c_str(), before.c_str()) != 0) return failed("put the result at " + out_, errno);
      if (::rename(aside_.c_str(), out_.c_str()) != 0) {
        const int error = errno;
        ::rename(before.c_str(), out_.c_str());
        return failed("put the result at " + out_, error);
      }
      ::rename(before.c_str(), aside_.c_str());
    }
    std::error_code ignored;  // the earlier result now lies aside
    fs::remove_all(aside_, ignored);
  }
  parent.flush();
  aside_.clear();
  return {};
}

}  // namespace rimwright
