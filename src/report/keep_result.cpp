#include "report/keep_result.h"

#include <fcntl.h>
#include <unistd.h>

#include <algorithm>
#include <atomic>
#include <cerrno>
#include <cstdio>
#include <cstring>
#include <filesystem>
#include <system_error>

namespace rimwright {
namespace {

namespace fs = std::filesystem;

constexpr std::size_t most_files = 64;
constexpr std::uintmax_t most_bytes = 512ULL << 20;
constexpr int most_passes = 9999;

tl::unexpected<Refusal> cannot_keep(const fs::path& path, const std::error_code& error) {
  return refuse(RefusalReason::output_not_writable,
                "the result cannot be kept in " + path.string() + " (" + error.message() + ")",
                "check that the disk has room and the folder may be written to; the result itself is intact");
}

// Flushes a file or folder to the disk, so that a rename never makes something visible that a power cut could empty.
bool flush_to_disk(const fs::path& path) {
  const int descriptor = ::open(path.c_str(), O_RDONLY | O_CLOEXEC);
  if (descriptor < 0) return false;
  const bool flushed = ::fsync(descriptor) == 0;
  ::close(descriptor);
  return flushed;
}

// The files to copy, or why not.
Outcome<std::vector<fs::path>> files_of(const fs::path& folder) {
  std::error_code error;
  std::vector<fs::path> files;
  std::uintmax_t bytes = 0;
  fs::directory_iterator entries(folder, error);
  if (error) {
    return refuse(RefusalReason::file_not_found, folder.string() + " is not a folder that can be read",
                  "give the folder a result was written to");
  }
  for (const fs::directory_entry& entry : entries) {
    if (entry.symlink_status().type() != fs::file_type::regular) continue;
    files.push_back(entry.path());
    bytes += entry.file_size(error);
    if (files.size() > most_files || bytes > most_bytes) {
      return refuse(RefusalReason::file_over_limit, folder.string() + " holds more than a result does",
                    "give the folder a result was written to, and nothing else in it");
    }
  }
  if (std::none_of(files.begin(), files.end(),
                   [](const fs::path& file) { return file.filename() == "results.json"; })) {
    return refuse(RefusalReason::file_not_found, folder.string() + " holds no results.json",
                  "give the folder a result was written to");
  }
  std::sort(files.begin(), files.end());
  return files;
}

fs::path pass_path(const fs::path& keep, int number) {
  char name[32];
  std::snprintf(name, sizeof name, "pass-%04d", number);
  return keep / name;
}

// The number of a kept pass, or 0.
int pass_number(const std::string& name) {
  if (name.size() != 9 || !name.starts_with("pass-")) return 0;
  int number = 0;
  for (const char c : name.substr(5)) {
    if (c < '0' || c > '9') return 0;
    number = number * 10 + (c - '0');
  }
  return number;
}

Outcome<void> copy_aside(const std::vector<fs::path>& files, const fs::path& aside) {
  std::error_code error;
  for (const fs::path& file : files) {
    const fs::path target = aside / file.filename();
    if (!fs::copy_file(file, target, error) || !flush_to_disk(target)) {
      if (!error) error = std::error_code(errno, std::generic_category());
      return cannot_keep(target, error);
    }
  }
  if (!flush_to_disk(aside)) return cannot_keep(aside, std::error_code(errno, std::generic_category()));
  return {};
}

}  // namespace

Outcome<std::vector<std::string>> kept_passes(const std::string& keep_folder) {
  std::error_code error;
  std::vector<std::pair<int, std::string>> found;
  fs::directory_iterator entries(keep_folder, error);
  if (error) {
    return refuse(RefusalReason::file_not_found, keep_folder + " is not a folder that can be read",
                  "give the folder that inspect --keep writes to");
  }
  for (const fs::directory_entry& entry : entries) {
    const int number = pass_number(entry.path().filename().string());
    if (number > 0 && entry.is_directory(error)) found.emplace_back(number, entry.path().string());
  }
  std::sort(found.begin(), found.end());
  std::vector<std::string> passes;
  for (auto& [number, path] : found) passes.push_back(std::move(path));
  return passes;
}

Outcome<std::string> keep_result(const std::string& result_folder, const std::string& keep_folder) {
  const auto files = files_of(result_folder);
  if (!files) return tl::unexpected<Refusal>(files.error());
  std::error_code error;
  fs::create_directories(keep_folder, error);
  if (error) return cannot_keep(keep_folder, error);

  static std::atomic<unsigned> copies{0};  // two threads of one process need two names
  const fs::path aside =
      fs::path(keep_folder) / (".writing-" + std::to_string(::getpid()) + "-" + std::to_string(copies++));
  fs::remove_all(aside, error);
  if (!fs::create_directory(aside, error)) return cannot_keep(aside, error);
  if (const Outcome<void> copied = copy_aside(*files, aside); !copied) {
    fs::remove_all(aside, error);
    return tl::unexpected<Refusal>(copied.error());
  }

  const auto passes = kept_passes(keep_folder);
  int number = passes && !passes->empty() ? pass_number(fs::path(passes->back()).filename().string()) + 1 : 1;
  for (; number <= most_passes; ++number) {
    const fs::path target = pass_path(keep_folder, number);
    if (::rename(aside.c_str(), target.c_str()) == 0) {
      flush_to_disk(keep_folder);
      return target.string();
    }
    // Someone else took this number: try the next. Anything else is a real failure.
    if (errno != ENOTEMPTY && errno != EEXIST && errno != ENOTDIR) break;
  }
  const std::error_code why(errno, std::generic_category());
  fs::remove_all(aside, error);
  return cannot_keep(keep_folder, why);
}

}  // namespace rimwright
