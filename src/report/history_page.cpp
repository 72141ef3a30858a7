#include <cairo-svg.h>

#include <algorithm>
#include <cmath>
#include <cstdio>
#include <filesystem>

#include "report/face_drawing.h"
#include "report/history_report.h"
#include "report/html_text.h"
#include "report/page_data.h"

namespace rimwright {
namespace {

constexpr double width = 520.0, height = 190.0, left = 58.0, right = 16.0, top = 16.0, bottom = 34.0;

cairo_status_t append(void* bytes, const unsigned char* data, unsigned int length) {
  static_cast<std::string*>(bytes)->append(reinterpret_cast<const char*>(data), length);
  return CAIRO_STATUS_SUCCESS;
}

std::string two_decimals(double value) {
  if (!std::isfinite(value)) return "-";
  constexpr double shows_as_zero = 0.005;
  char text[32];
  std::snprintf(text, sizeof text, "%.2f", std::abs(value) < shows_as_zero ? 0.0 : value);
  return text;
}

// Median as a line with dots, the stations' 5 to 95 % as bars, over the number of the pass.
std::string course_svg(const Course& course) {
  double low = INFINITY, high = -INFINITY;
  for (const CoursePoint& point : course.points) {
    if (point.stations == 0) continue;
    low = std::min(low, point.low);
    high = std::max(high, point.high);
  }
  const double room = std::max(0.05, 0.1 * (high - low));
  low -= room;
  high += room;
  const auto count = static_cast<double>(course.points.size());
  const auto x_of = [&](std::size_t i) {
    return left + (width - left - right) * (static_cast<double>(i) + 0.5) / count;
  };
  const auto y_of = [&](double value) { return top + (height - top - bottom) * (high - value) / (high - low); };

  std::string svg;
  {
    const Surface surface(cairo_svg_surface_create_for_stream(append, &svg, width, height));
    cairo_svg_surface_set_document_unit(surface.get(), CAIRO_SVG_UNIT_PX);
    const Pen pen(cairo_create(surface.get()));
    cairo_set_source_rgb(pen.get(), 0.81, 0.78, 0.72);
    cairo_set_line_width(pen.get(), 1.0);
    for (int i = 0; i <= 3; ++i) {
      const double value = low + (high - low) * i / 3.0;
      cairo_move_to(pen.get(), left, y_of(value));
      cairo_line_to(pen.get(), width - right, y_of(value));
      cairo_stroke(pen.get());
    }
    cairo_set_source_rgb(pen.get(), 0.13, 0.12, 0.1);
    for (int i = 0; i <= 3; ++i) {
      const double value = low + (high - low) * i / 3.0;
      draw_text(pen.get(), left - 6.0, y_of(value) + 4.0, 12.0, two_decimals(value), Align::right);
    }
    bool connected = false;
    const std::size_t every = 1 + course.points.size() / 20;
    for (std::size_t i = 0; i < course.points.size(); ++i) {
      const CoursePoint& point = course.points[i];
      if (i % every == 0) {
        draw_text(pen.get(), x_of(i), height - 12.0, 12.0, std::to_string(i + 1), Align::middle);
        cairo_new_path(pen.get());
      }
      if (point.stations == 0) {
        connected = false;
        continue;
      }
      cairo_set_source_rgb(pen.get(), 0.55, 0.55, 0.75);
      cairo_set_line_width(pen.get(), 5.0);
      cairo_move_to(pen.get(), x_of(i), y_of(point.low));
      cairo_line_to(pen.get(), x_of(i), y_of(point.high));
      cairo_stroke(pen.get());
      cairo_set_source_rgb(pen.get(), 0.13, 0.12, 0.1);
      cairo_set_line_width(pen.get(), 2.0);
      if (connected) {
        cairo_move_to(pen.get(), x_of(i - 1), y_of(course.points[i - 1].median));
        cairo_line_to(pen.get(), x_of(i), y_of(point.median));
        cairo_stroke(pen.get());
      }
      cairo_arc(pen.get(), x_of(i), y_of(point.median), 4.0, 0.0, 6.3);
      cairo_fill(pen.get());
      connected = true;
    }
    cairo_surface_finish(surface.get());
  }
  return svg;
}

}  // namespace

std::string history_page(const std::vector<Pass>& passes, const std::vector<Course>& courses,
                         const std::vector<std::string>& notes) {
  const std::string instrument = passes.empty() ? "" : html_text(passes.back().instrument);
  std::string html =
      "<!doctype html><html lang=\"en\"><head><meta charset=\"utf-8\"><meta name=\"viewport\" "
      "content=\"width=device-width\"><title>" +
      instrument + ": its passes</title><style>" + plain_page_style() +
      ".courses{display:grid;grid-template-columns:repeat(auto-fit,minmax(340px,1fr));gap:0 20px}</style></head><body>";
  html += "<h1>" + instrument + ": its passes</h1>";
  for (const std::string& note : notes) html += "<p class=\"undecided\">" + html_text(note) + "</p>";
  html +=
      "<table><tr><th>pass</th><th>folder</th><th>written</th><th>verdict</th><th>out of tolerance</th>"
      "<th>undecided</th></tr>";
  for (std::size_t i = 0; i < passes.size(); ++i) {
    const Pass& pass = passes[i];
    std::size_t out = 0, undecided = 0;
    for (const Finding& finding : pass.findings) ++(finding.verdict == Verdict::fail ? out : undecided);
    const std::string verdict(name_of(pass.verdict));
    html += "<tr><td>" + std::to_string(i + 1) + "</td><td>" +
            html_text(std::filesystem::path(pass.folder).filename().string()) + "</td><td>" +
            html_text(pass.measured_at) + "</td><td class=\"" + verdict + "\">" + verdict +
            "</td><td class=\"number\">" + std::to_string(out) + "</td><td class=\"number\">" +
            std::to_string(undecided) + "</td></tr>";
  }
  html +=
      "</table><p class=\"soft\">Below: dot and line, the median of the stations; bar, the middle nine tenths of them; "
      "over the number of the pass. Bevel quantities count where the drop is at least nine tenths of its "
      "fullest.</p><div class=\"courses\">";
  for (const Course& course : courses) {
    html += "<div><h2>" + html_text(course.feature) + ": " + html_text(course.quantity) + ", " + course.unit + "</h2>";
    html += "<img width=\"520\" alt=\"" + html_text(course.feature + " " + course.quantity) +
            " over the passes\" src=\"data:image/svg+xml;base64," + base64(course_svg(course)) + "\"></div>";
  }
  return html + "</div></body></html>\n";
}

}  // namespace rimwright
