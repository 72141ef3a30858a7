#include "report/write_result.h"

#include <array>

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
  // Each task has files of its own, and those that take longest go first. The page shows what tasks of the first
  // list make. How letters come out depends on what was drawn before, or is being drawn by another thread: the picture
  // first, then one sheet after the other.
  Outcome<std::string> picture;
  ResultsText results;
  std::array<Outcome<void>, 7> written;
  workers.do_all({
      [&] { written[0] = put("heatmap.png", picture = heatmap_png(inspection)); },
      [&] { written[1] = put("heatmap.ply", heatmap_ply(inspection)); },
      [&] { written[2] = put("results.json", (results = results_text(inspection, context)).lines); },
      [&] { written[3] = put("stations.csv", stations_csv(inspection)); },
  });
  if (!picture) return tl::unexpected(picture.error());
  workers.do_all({
      [&] {
        written[4] = put("strip.pdf", strip_pdf(inspection)).and_then([&] {
          return put("summary.pdf", summary_pdf(inspection, context));
        });
      },
      [&] { written[5] = put("report.html", report_page(inspection, context, *picture, results.compact)); },
      [&] { written[6] = write_faces(result->path_aside(faces_file_name), faces_of(inspection.measures)); },
  });
  for (const Outcome<void>& outcome : written)
    if (!outcome) return outcome;
  return result->commit();
}

}  // namespace rimwright
