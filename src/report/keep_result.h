// Keeps results of one instrument side by side in one folder: FOLDER/pass-0001, pass-0002, ... plain copies of result
// folders, safe with two writers at once.
//
// The copy is made under a name no reader looks at and flushed to disk, then renamed to the next free number. Renaming
// a folder onto an existing, non-empty one fails (POSIX rename), so two writers never get the same number and a number
// is never a half-written result.
#pragma once

#include <string>
#include <vector>

#include "core/refusal.h"

namespace rimwright {

// Copies the files of result_folder (no sub-folders, no links; at most 64 files, 512 MiB) and returns the new folder.
// Makes keep_folder when it is missing.
[[nodiscard]] Outcome<std::string> keep_result(const std::string& result_folder, const std::string& keep_folder);

// The kept passes of a folder, oldest first (by number).
[[nodiscard]] Outcome<std::vector<std::string>> kept_passes(const std::string& keep_folder);

}  // namespace rimwright
