#include "report/write_result.h"

#include <array>
#include <functional>
#include <mutex>

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
  // The picture before the sheets, and one sheet at a time: how letters come out depends on what was drawn before, or
  // is being drawn by another thread.
  std::once_flag once;
  Outcome<std::string> picture;
  std::mutex drawing;
  const auto draw_picture = [&] { std::call_once(once, [&] { picture = heatmap_png(inspection); }); };
  const auto drawn = [&](const auto& draw) {
    draw_picture();
    const std::lock_guard lock(drawing);
    return draw();
  };
  // Each writes files of its own. The page, which shows the picture, takes longest and goes first.
  const std::array<std::function<Outcome<void>()>, 7> parts{
      [&]() -> Outcome<void> {
        draw_picture();
        return put("heatmap.png", picture).and_then([&] {
          return put("report.html", report_page(inspection, context, *picture));
        });
      },
      [&] { return put("heatmap.ply", heatmap_ply(inspection)); },
      [&]() -> Outcome<void> {
        return write_faces(result->path_aside(faces_file_name), faces_of(inspection.measures));
      },
      [&] { return put("strip.pdf", drawn([&] { return strip_pdf(inspection); })); },
      [&] { return put("stations.csv", stations_csv(inspection)); },
      [&] { return put("results.json", results_json(inspection, context)); },
      [&] { return put("summary.pdf", drawn([&] { return summary_pdf(inspection, context); })); },
  };
  std::array<Outcome<void>, 7> written;
  workers.for_chunks(parts.size(), 1,
                     [&](std::size_t part, std::size_t, std::size_t) { written[part] = parts[part](); });
  for (const Outcome<void>& outcome : written)
    if (!outcome) return outcome;
  return result->commit();
}

}  // namespace rimwright
