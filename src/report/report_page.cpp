#include "report/report_page.h"

#include <algorithm>
#include <string_view>

#include "judge/words.h"
#include "report/heatmap_png.h"
#include "report/html_text.h"
#include "report/page_data.h"
#include "report/page_template.h"
#include "report/results_json.h"

namespace rimwright {
namespace {

// In JSON a '<' stands only inside texts, where its escape means the same; so no text can end the script element.
void append_inside_script(std::string& page, std::string_view json) {
  for (std::size_t at = json.find('<'); at != std::string_view::npos; at = json.find('<')) {
    page.append(json.substr(0, at)) += "\\u003c";
    json.remove_prefix(at + 1);
  }
  page += json;
}

// For a browser that runs no scripts: the verdict and the things to do.
std::string plain_report(const Inspection& inspection) {
  std::string html = "<h1>" + html_text(inspection.plan.instrument) +
                     "</h1><p>Verdict: " + std::string(name_of(inspection.verdict)) + ".</p><ol>";
  for (const Finding& finding : inspection.findings) {
    html += "<li>" + html_text(finding.feature) + ", " + html_text(finding.quantity) + " (" +
            std::string(name_of(finding.verdict)) + "): " + html_text(finding.advice) + ".</li>";
  }
  return html +
         "</ol><p>Pictures and figures need scripts, which this browser does not run; heatmap.png and stations.csv "
         "lie beside this file.</p>";
}

std::string opened(const char* id, const char* type) {
  return std::string("<script type=\"") + type + "\" id=\"" + id + "\">";
}
constexpr const char* closed = "</script>\n";

}  // namespace

Outcome<std::string> report_page(const Inspection& inspection, const ReportContext& context) {
  Outcome<std::string> picture = heatmap_png(inspection);
  if (!picture) return picture;
  return report_page(inspection, context, *picture, results_text(inspection, context).compact);
}

std::string report_page(const Inspection& inspection, const ReportContext& context, std::string_view heatmap_png_bytes,
                        std::string_view compact_results) {
  const PageData data = page_data(inspection, context, heatmap_png_bytes);
  std::string form;
  for (const std::string_view piece : page_template_pieces()) form += piece;
  std::string_view left = form;
  std::string page;
  const std::size_t quantised = data.face_cells.size() + data.section_points.size() + data.body_points.size();
  page.reserve(form.size() + data.page_json.size() + compact_results.size() + quantised / 3 * 4 + (64U << 10));
  // Copies the form up to one of its places. What was filled in is never searched.
  const auto up_to = [&](std::string_view mark) {
    const std::size_t at = left.find(mark);
    page += left.substr(0, at);
    left.remove_prefix(std::min(left.size(), at + mark.size()));
  };
  up_to("@TITLE@");
  page += html_text(inspection.plan.instrument);
  up_to("@PLAIN@");
  page += plain_report(inspection);
  up_to("@DATA@");
  page += opened("facts", "application/json") + "{\"results\":";
  append_inside_script(page, compact_results);
  page += ",\"page\":";
  append_inside_script(page, data.page_json);
  page.append("}") += closed;
  page.append(opened("face-cells", "text/plain")).append(base64(data.face_cells)) += closed;
  page.append(opened("section-points", "text/plain")).append(base64(data.section_points)) += closed;
  page.append(opened("body-points", "text/plain")).append(base64(data.body_points)) += closed;
  return page += left;
}

}  // namespace rimwright
