// A result folder appears whole or not at all.
//
// Files are written into a hidden sibling folder, flushed to disk, and the two folders change places in one step
// (renameat2 with RENAME_EXCHANGE where there was an earlier result, rename where there was none). Killed at any
// moment, out of space or not allowed to write: an earlier result stays as it was. Two runs into one folder cannot mix;
// the last to finish stands. Siblings left by a killed run are removed by the next.
#pragma once

#include <string>
#include <string_view>
#include <vector>

#include "core/refusal.h"

namespace rimwright {

// Every file a result may hold. A folder with anything else in it is not ours to replace.
[[nodiscard]] const std::vector<std::string>& result_file_names();

// A folder of intermediate results inside a result folder. It is carried over from one result to the next.
[[nodiscard]] const std::string& work_folder_name();

// Refused (output_not_writable) where no result may be put: a file, or a folder that holds something else. For asking
// before hours of work.
[[nodiscard]] Outcome<void> can_hold_result(const std::string& out);

class ResultFolder {
 public:
  // Refused (output_not_writable): `out` is a file, holds files that are not a result, or cannot be written beside.
  // `known_files`: names that may be replaced.
  [[nodiscard]] static Outcome<ResultFolder> open(const std::string& out,
                                                  const std::vector<std::string>& known_files = result_file_names());
  ResultFolder(ResultFolder&& other) noexcept;
  ResultFolder& operator=(ResultFolder&&) = delete;
  ResultFolder(const ResultFolder&) = delete;
  ResultFolder& operator=(const ResultFolder&) = delete;
  ~ResultFolder();  // what was not committed is removed

  // `name` without any folder. A name can be written once.
  [[nodiscard]] Outcome<void> write(const std::string& name, std::string_view bytes);
  // For writers that want a path: where the file of that name is being prepared.
  [[nodiscard]] std::string path_aside(const std::string& name) const;

  // Flushes all files to disk and puts the folder in its place. Nothing can be written afterwards.
  [[nodiscard]] Outcome<void> commit();

 private:
  ResultFolder() = default;
  std::string out_;     // absolute
  std::string parent_;  // of out_
  std::string aside_;   // absolute; empty once committed
  std::vector<std::string> known_files_;
  int lock_ = -1;  // open and locked while aside_ is ours
};

}  // namespace rimwright
