#include "report/write_result.h"

#include <algorithm>
#include <functional>
#include <vector>

#include "report/faces_file.h"
#include "report/heatmap_ply.h"
#include "report/heatmap_png.h"
#include "report/report_page.h"
#include "report/result_folder.h"
#include "report/results_json.h"
#include "report/stations_csv.h"
#include "report/strip_pdf.h"
#include "report/summary_pdf.h"

namespace rimwright {

Outcome<void> write_result(const Inspection& inspection, const ReportContext& context, const std::string& folder,
                           Workers& workers) {
  Outcome<ResultFolder> result = ResultFolder::open(folder);
  if (!result) return tl::unexpected(result.error());
  const auto put = [&](const char* name, const Outcome<std::string>& bytes) -> Outcome<void> {
    if (!bytes) return tl::unexpected(bytes.error());
    return result->write(name, *bytes);
  };
  // Each task has files of its own, and those that take longest go first. The page shows what the others of the first
  // list make. How letters come out depends on what was drawn before, or is being drawn by another thread: the picture
  // first, then one sheet after the other.
  using Task = std::function<Outcome<void>()>;
  Outcome<std::string> picture;
  ResultsText results;
  const std::vector<Task> first{
      [&] { return put("heatmap.png", picture = heatmap_png(inspection)); },
      [&] { return put("heatmap.ply", heatmap_ply(inspection)); },
      [&] { return put("results.json", (results = results_text(inspection, context)).lines); },
      [&] { return put("stations.csv", stations_csv(inspection)); },
  };
  const auto write_sheets = [&] {
    return put("strip.pdf", strip_pdf(inspection)).and_then([&] {
      return put("summary.pdf", summary_pdf(inspection, context));
    });
  };
  const std::vector<Task> then{
      [&] { return put("report.html", report_page(inspection, context, *picture, results.compact)); },
      write_sheets,
      [&] { return write_faces(result->path_aside(faces_file_name), faces_of(inspection.measures)); },
  };
  const auto all_done = [&](const std::vector<Task>& tasks) {
    std::vector<Outcome<void>> done(tasks.size());
    workers.for_chunks(tasks.size(), 1, [&](std::size_t i, std::size_t, std::size_t) { done[i] = tasks[i](); });
    const auto failed = std::find_if(done.begin(), done.end(), [](const auto& outcome) { return !outcome; });
    return failed == done.end() ? Outcome<void>() : *failed;
  };
  return all_done(first).and_then([&] { return all_done(then); }).and_then([&] { return result->commit(); });
}

}  // namespace rimwright
