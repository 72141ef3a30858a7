// Standard error as the program's own: one sentence for a refusal, the stages when asked.
#pragma once

#include <cstdio>

namespace rimwright {

// Called once, before anything else. What libraries print on standard error ("libpng error: ...") would stand between
// the program's own sentences and says nothing to a builder, so from then on it goes nowhere. For whoever looks for a
// fault in the program, the environment variable RIMWRIGHT_ALL_MESSAGES (anything but empty) leaves it, and with it the
// reports of sanitizers.
void keep_messages_ours();

// Standard error as it was when the program started.
[[nodiscard]] std::FILE* messages();

}  // namespace rimwright
