// The passes of one instrument, oldest first, for people.
#pragma once

#include <string>
#include <vector>

#include "judge/history.h"

namespace rimwright {

// Two tables: the passes, and each quantity over the last passes that fit a terminal.
[[nodiscard]] std::string history_text(const std::vector<Pass>& passes, const std::vector<Course>& courses,
                                       const std::vector<std::string>& notes);

// One page that opens offline and runs no scripts, with a drawing of each quantity's course.
[[nodiscard]] std::string history_page(const std::vector<Pass>& passes, const std::vector<Course>& courses,
                                       const std::vector<std::string>& notes);

}  // namespace rimwright
