// Any bytes as a plan file: read or refused. What is read is explained, drawing in characters and all.
#include <cstdint>
#include <cstdlib>
#include <string_view>

#include "plan/explain_plan.h"
#include "plan/read_plan.h"

extern "C" int LLVMFuzzerTestOneInput(const std::uint8_t* data, std::size_t size) {
  const std::string_view text(reinterpret_cast<const char*>(data), size);
  const auto plan = rimwright::read_plan_text(text, "plan.yaml");
  if (!plan) {
    if (plan.error().what.empty() || plan.error().what_to_do.empty()) std::abort();
    return 0;
  }
  if (rimwright::explain_plan(*plan).empty()) std::abort();
  return 0;
}
