// Any bytes as a body file: read or refused. What is read is built, or refused as a body.
#include <cstdint>
#include <cstdlib>
#include <string>

#include "simulate/body.h"
#include "simulate/body_file.h"

extern "C" int LLVMFuzzerTestOneInput(const std::uint8_t* data, std::size_t size) {
  const auto file = rimwright::parse_body_file(std::string(reinterpret_cast<const char*>(data), size));
  if (!file) {
    if (file.error().what.empty()) std::abort();
    return 0;
  }
  const auto body = rimwright::Body::from(file->body);
  if (!body && body.error().what.empty()) std::abort();
  return 0;
}
