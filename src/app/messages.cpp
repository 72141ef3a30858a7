#include "app/messages.h"

#include <fcntl.h>
#include <unistd.h>

#include <cstdlib>

namespace rimwright {
namespace {

std::FILE* own_messages = stderr;

}  // namespace

void keep_messages_ours() {
  const char* all = std::getenv("RIMWRIGHT_ALL_MESSAGES");
  if (all != nullptr && *all != '\0') return;
  const int own = ::fcntl(STDERR_FILENO, F_DUPFD_CLOEXEC, 3);
  const int nowhere = ::open("/dev/null", O_WRONLY | O_CLOEXEC);
  std::FILE* stream = own >= 0 && nowhere >= 0 ? ::fdopen(own, "w") : nullptr;
  if (stream != nullptr && ::dup2(nowhere, STDERR_FILENO) >= 0) {
    std::setvbuf(stream, nullptr, _IONBF, 0);
    own_messages = stream;
  }
  if (nowhere >= 0) ::close(nowhere);
}

std::FILE* messages() { return own_messages; }

}  // namespace rimwright
