#include <cmath>
#include <cstdio>

#include "report/comparison_report.h"
#include "report/html_text.h"
#include "report/page_data.h"
#include "report/result_folder.h"

namespace rimwright {
namespace {

std::string two_decimals(double value) {
  if (!std::isfinite(value)) return "-";
  char text[32];
  std::snprintf(text, sizeof text, "%.2f", value);
  return text;
}

std::string verdict_word(Verdict verdict) {
  const std::string word(name_of(verdict));
  return "<span class=\"" + word + "\">" + word + "</span>";
}

// The one sentence to read first.
std::string lead(const PassComparison& comparison) {
  std::size_t gone = 0, smaller = 0, worse = 0, fresh = 0, same = 0;
  for (const FindingProgress& progress : comparison.progress) {
    switch (progress.progress) {
      case Progress::gone: ++gone; break;
      case Progress::smaller: ++smaller; break;
      case Progress::worse: ++worse; break;
      case Progress::new_here: ++fresh; break;
      case Progress::unchanged:
      case Progress::not_seen_now: ++same; break;
    }
  }
  std::string text;
  const auto count = [&](std::size_t number, const char* what) {
    if (number > 0) text += (text.empty() ? "" : ", ") + std::to_string(number) + " " + what;
  };
  count(gone, "gone");
  count(smaller, "smaller");
  count(worse, "worse");
  count(fresh, "new");
  count(same, "unchanged or not seen");
  text = text.empty() ? "No findings before or after." : "Findings: " + text + ".";
  if (comparison.passes_left) {
    text += comparison.passes_left->passes == 0
                ? " Nothing is left to take off."
                : " About " + std::to_string(comparison.passes_left->passes) + " more like the last pass.";
  }
  return text;
}

std::string findings_table(const PassComparison& comparison) {
  if (comparison.progress.empty()) return "<p>None, before or after.</p>";
  std::string html =
      "<table><tr><th>feature</th><th>quantity</th><th>along the rim</th><th>what became of it</th></tr>";
  for (const FindingProgress& progress : comparison.progress) {
    char stretch[64];
    std::snprintf(stretch, sizeof stretch, "%.0f to %.0f mm", progress.finding.from_mm, progress.finding.to_mm);
    html += "<tr><td>" + html_text(progress.finding.feature) + "</td><td>" + html_text(progress.finding.quantity) +
            "</td><td>" + stretch + "</td><td>" + html_text(progress.sentence) + "</td></tr>";
  }
  return html + "</table>";
}

std::string stretches_table(const PassComparison& comparison) {
  std::string rows;
  constexpr const char* faces[] = {"side", "top", "bevel", "channel floor", "channel wall"};
  for (const RemovalStretch& stretch : comparison.stretches) {
    if (!stretch.came_off() || stretch.kind == FaceKind::top || stretch.kind == FaceKind::side) continue;
    char where[64];
    std::snprintf(where, sizeof where, "%.0f to %.0f mm", stretch.from_mm, stretch.to_mm);
    rows += std::string("<tr><td>") + faces[static_cast<std::size_t>(stretch.kind)] + "</td><td>" + where +
            "</td><td class=\"number\">" + two_decimals(stretch.removed_mm) + " &plusmn; " +
            two_decimals(stretch.u95_mm) + "</td><td class=\"number\">" + two_decimals(stretch.most_removed_mm) +
            "</td></tr>";
  }
  if (rows.empty()) return "<p>Nothing that both scans can tell.</p>";
  return "<table><tr><th>face</th><th>along the rim</th><th>mean, mm (&plusmn; U95)</th><th>at most, mm</th></tr>" +
         rows + "</table>";
}

}  // namespace

std::string comparison_page(const Pass& before, const Pass& after, const PassComparison& comparison,
                            const std::string& removal_png_bytes) {
  std::string html =
      "<!doctype html><html lang=\"en\"><head><meta charset=\"utf-8\"><meta name=\"viewport\" "
      "content=\"width=device-width\"><title>" +
      html_text(after.instrument) + ": what came off</title><style>" + plain_page_style() + "</style></head><body>";
  html += "<h1>" + html_text(after.instrument) + ": before and after</h1>";
  html += "<p class=\"lead\">" + lead(comparison) + "</p>";
  html += "<p>Before: " + html_text(before.folder) + " " + html_text(before.measured_at) + ", " +
          verdict_word(before.verdict) + ". After: " + html_text(after.folder) + " " + html_text(after.measured_at) +
          ", " + verdict_word(after.verdict) + ".</p>";
  for (const std::string& note : comparison.notes) html += "<p class=\"undecided\">" + html_text(note) + ".</p>";
  html += "<h2>Findings</h2>" + findings_table(comparison);
  html += "<h2>What came off</h2>";
  if (comparison.alignment) {
    if (!removal_png_bytes.empty()) {
      html += "<img alt=\"Maps of the bevel: what came off, and what is left\" src=\"data:image/png;base64," +
              base64(removal_png_bytes) + "\">";
    }
    html += stretches_table(comparison);
    html +=
        "<p class=\"soft\">Both scans were laid over each other on " + std::to_string(comparison.alignment->patches) +
        " patches of top and side away from the work, which agree to " + two_decimals(comparison.alignment->rms_mm) +
        " mm. A cell of the map tells " + two_decimals(comparison.tell_mm) + " mm and more.</p>";
  } else {
    html += "<p>" + html_text(comparison.no_map_because) + ".</p>";
  }
  html += "<h2>What is left</h2>";
  if (comparison.passes_left) {
    html += "<p>" + two_decimals(comparison.passes_left->left_mm) + " mm at the fullest places; the last pass took " +
            two_decimals(comparison.passes_left->last_pass_mm) + " mm off where it worked.</p>";
  } else if (!comparison.passes_left_note.empty()) {
    html += "<p>No estimate: " + html_text(comparison.passes_left_note) + ".</p>";
  }
  return html + "</body></html>\n";
}

const std::vector<std::string>& comparison_file_names() {
  static const std::vector<std::string> names{"compare.json", "compare.html", "removal.png", "removal.ply"};
  return names;
}

Outcome<void> write_comparison(const Pass& before, const Pass& after, const PassComparison& comparison,
                               const std::string& folder) {
  Outcome<ResultFolder> result = ResultFolder::open(folder, comparison_file_names());
  if (!result) return tl::unexpected<Refusal>(result.error());
  const std::string png = removal_png(comparison);
  return result->write("compare.json", comparison_json(before, after, comparison))
      .and_then([&] { return result->write("compare.html", comparison_page(before, after, comparison, png)); })
      .and_then([&]() -> Outcome<void> {
        if (png.empty()) return {};
        return result->write("removal.png", png);
      })
      .and_then([&]() -> Outcome<void> {
        if (comparison.cells.empty()) return {};
        return result->write("removal.ply", removal_ply(comparison));
      })
      .and_then([&] { return result->commit(); });
}

}  // namespace rimwright
