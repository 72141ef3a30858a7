// Any bytes as results.json (first byte even) or as a faces file (odd): read or refused. What is read is compared with
// itself and put into the texts and pages that show it.
#include <cstdint>
#include <cstdlib>
#include <string_view>

#include "judge/finding_progress.h"
#include "judge/history.h"
#include "report/faces_file.h"
#include "report/history_report.h"
#include "report/read_results.h"

extern "C" int LLVMFuzzerTestOneInput(const std::uint8_t* data, std::size_t size) {
  if (size == 0) return 0;
  const std::string_view bytes(reinterpret_cast<const char*>(data) + 1, size - 1);
  if (data[0] % 2 == 1) {
    const auto faces = rimwright::read_faces_bytes(bytes, "faces.ply");
    if (!faces && faces.error().what.empty()) std::abort();
    return 0;
  }
  const auto pass = rimwright::read_results_text(bytes, "results.json");
  if (!pass) {
    if (pass.error().what.empty()) std::abort();
    return 0;
  }
  for (const auto& progress : rimwright::finding_progress(*pass, *pass, 0.0)) {
    // The same result twice: nothing may be better or worse.
    if (progress.progress == rimwright::Progress::worse || progress.progress == rimwright::Progress::smaller)
      std::abort();
  }
  const std::vector<rimwright::Pass> passes{*pass, *pass};
  const auto courses = rimwright::courses_of(passes);
  if (rimwright::history_text(passes, courses, {}).empty()) std::abort();
  return 0;
}
