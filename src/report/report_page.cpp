#include "report/report_page.h"

#include <algorithm>
#include <string_view>
#include <utility>
#include <vector>

#include "judge/words.h"
#include "report/heatmap_png.h"
#include "report/html_text.h"
#include "report/page_data.h"
#include "report/page_template.h"
#include "report/results_json.h"

namespace rimwright {
namespace {

// In JSON a '<' stands only inside texts, where its escape means the same; so no text can end the script element.
std::string inside_script(const std::string& json) {
  std::string safe;
  safe.reserve(json.size());
  for (const char c : json) {
    if (c == '<') {
      safe += "\\u003c";
    } else {
      safe += c;
    }
  }
  return safe;
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

std::string block(const char* id, const char* type, const std::string& content) {
  return std::string("<script type=\"") + type + "\" id=\"" + id + "\">" + content + "</script>\n";
}

// Each place once, from the end, so that what is filled in is never searched.
std::string filled(std::string page, const std::vector<std::pair<std::string_view, std::string>>& places) {
  struct At {
    std::size_t position;
    std::size_t length;
    const std::string* with;
  };
  std::vector<At> found;
  for (const auto& [mark, with] : places) found.push_back({page.find(mark), mark.size(), &with});
  std::sort(found.begin(), found.end(), [](const At& a, const At& b) { return a.position > b.position; });
  for (const At& at : found) {
    if (at.position != std::string::npos) page.replace(at.position, at.length, *at.with);
  }
  return page;
}

}  // namespace

Outcome<std::string> report_page(const Inspection& inspection, const ReportContext& context) {
  Outcome<std::string> picture = heatmap_png(inspection);
  if (!picture) return picture;
  return report_page(inspection, context, *picture);
}

std::string report_page(const Inspection& inspection, const ReportContext& context,
                        std::string_view heatmap_png_bytes) {
  const PageData data = page_data(inspection, context, heatmap_png_bytes);
  const std::string results = results_json(inspection, context, JsonLayout::compact);

  std::string page;
  for (const std::string_view piece : page_template_pieces()) page += piece;
  std::string blocks = block("facts", "application/json",
                             inside_script("{\"results\":" + results + ",\"page\":" + data.page_json + "}"));
  blocks += block("face-cells", "text/plain", base64(data.face_cells));
  blocks += block("section-points", "text/plain", base64(data.section_points));
  blocks += block("body-points", "text/plain", base64(data.body_points));
  return filled(
      std::move(page),
      {{"@TITLE@", html_text(inspection.plan.instrument)}, {"@PLAIN@", plain_report(inspection)}, {"@DATA@", blocks}});
}

}  // namespace rimwright
