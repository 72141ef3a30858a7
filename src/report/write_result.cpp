#include "report/write_result.h"

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

Outcome<void> write_result(const Inspection& inspection, const ReportContext& context, const std::string& folder) {
  Outcome<ResultFolder> result = ResultFolder::open(folder);
  if (!result) return tl::unexpected(result.error());
  const auto put = [&](const char* name, const Outcome<std::string>& bytes) -> Outcome<void> {
    if (!bytes) return tl::unexpected(bytes.error());
    return result->write(name, *bytes);
  };
  return put("results.json", results_json(inspection, context))
      .and_then([&] { return put("stations.csv", stations_csv(inspection)); })
      .and_then([&] { return put("heatmap.ply", heatmap_ply(inspection)); })
      .and_then([&] { return put("heatmap.png", heatmap_png(inspection)); })
      .and_then([&]() -> Outcome<void> {
        return write_faces(result->path_aside(faces_file_name), faces_of(inspection.measures));
      })
      .and_then([&] { return result->flush(faces_file_name); })
      .and_then([&] { return put("report.html", report_page(inspection, context)); })
      .and_then([&] { return put("strip.pdf", strip_pdf(inspection)); })
      .and_then([&] { return put("summary.pdf", summary_pdf(inspection, context)); })
      .and_then([&] { return result->commit(); });
}

}  // namespace rimwright
