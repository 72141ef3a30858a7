#include "report/summary_pdf.h"

#include <algorithm>
#include <cmath>

#include "judge/words.h"
#include "report/face_drawing.h"
#include "report/jobs.h"
#include "report/paper.h"

namespace rimwright {
namespace {

constexpr double margin_mm = 16.0;

std::string verdict_words(const Inspection& inspection, const std::vector<Job>& jobs) {
  const auto failing =
      std::count_if(jobs.begin(), jobs.end(), [](const Job& job) { return job.verdict == Verdict::fail; });
  const auto open = static_cast<std::ptrdiff_t>(jobs.size()) - failing;
  const auto things = [](std::ptrdiff_t n) {
    return n == 1 ? std::string("one thing") : std::to_string(n) + " things";
  };
  switch (inspection.verdict) {
    case Verdict::pass: return "Within the plan everywhere it was measured.";
    case Verdict::fail:
      return "Not yet: " + things(failing) + " to put right" + (open > 0 ? ", " + things(open) + " undecided." : ".");
    case Verdict::undecided:
      return open > 0 ? "Undecided: " + things(open) + " the scan cannot settle." : "Undecided: nothing was measured.";
  }
  return "";
}

// The rim in plan inside a box, to scale, with numbered stretches. Returns the height used.
double draw_rim(cairo_t* pen, const Inspection& inspection, const std::vector<Job>& jobs, double x, double y,
                double width, double most_height) {
  const std::vector<Vector2>& rim = inspection.measures.rim_plan_mm;
  const std::vector<double>& stations = inspection.measures.rim_station_mm;
  const std::size_t count = std::min(rim.size(), stations.size());
  if (count < 2) return 0.0;
  Vector2 low = rim[0], high = rim[0];
  for (std::size_t i = 0; i < count; ++i) low = low.cwiseMin(rim[i]), high = high.cwiseMax(rim[i]);
  const double pad = 9.0;
  const double scale = std::min((width - 2 * pad) / std::max(high.x() - low.x(), 1.0),
                                (most_height - 2 * pad) / std::max(high.y() - low.y(), 1.0));
  const double height = (high.y() - low.y()) * scale + 2 * pad;
  const double shift = (width - (high.x() - low.x()) * scale) / 2;
  const auto at = [&](std::size_t i) {
    return Vector2(x + shift + (rim[i].x() - low.x()) * scale, y + pad + (high.y() - rim[i].y()) * scale);
  };
  const auto path = [&](double from_mm, double to_mm) {
    bool started = false;
    for (std::size_t i = 0; i < count; ++i) {
      if (stations[i] < from_mm || stations[i] > to_mm) continue;
      started ? cairo_line_to(pen, at(i).x(), at(i).y()) : cairo_move_to(pen, at(i).x(), at(i).y());
      started = true;
    }
    cairo_stroke(pen);
  };
  cairo_set_source_rgb(pen, 0.13, 0.12, 0.1);
  cairo_set_line_width(pen, 0.9);
  path(-1e9, 1e9);
  const Vector2 middle = (at(0) + at(count / 2) + at(count - 1)) / 3;
  for (const Job& job : jobs) {
    const Finding& finding = inspection.findings[job.findings.front()];
    cairo_set_source_rgb(pen, 0.56, 0.16, 0.0);
    cairo_set_line_width(pen, 2.6);
    const double dashes[] = {1.6, 1.4};
    cairo_set_dash(pen, dashes, job.verdict == Verdict::fail ? 0 : 2, 0);
    path(finding.from_mm - 1.5, finding.to_mm + 1.5);
    cairo_set_dash(pen, nullptr, 0, 0);
    const double centre_mm = (finding.from_mm + finding.to_mm) / 2;
    const auto near =
        std::lower_bound(stations.begin(), stations.begin() + static_cast<std::ptrdiff_t>(count), centre_mm);
    const auto i = std::min<std::size_t>(static_cast<std::size_t>(near - stations.begin()), count - 1);
    Vector2 outward = at(i) - middle;
    outward = outward.norm() > 1e-6 ? Vector2(outward.normalized()) : Vector2(0, -1);
    const Vector2 badge = at(i) + outward * 6.0;
    cairo_set_source_rgb(pen, 0, 0, 0);
    draw_text(pen, badge.x(), badge.y() + 1.8, 5.0, std::to_string(job.number), Align::middle, true);
  }
  return height;
}

}  // namespace

Outcome<std::string> summary_pdf(const Inspection& inspection, const ReportContext& context) {
  PdfPages pages(paper_for(inspection.plan.units, false), inspection.plan.instrument + ", summary");
  cairo_t* pen = pages.pen();
  const double width = pages.size().width_mm - 2 * margin_mm;
  const double bottom = pages.size().height_mm - margin_mm;
  const std::vector<Job> jobs = jobs_of(inspection.findings);
  double y = margin_mm + 5;
  cairo_set_source_rgb(pen, 0.13, 0.12, 0.1);
  draw_text(pen, margin_mm, y, 5.5, inspection.plan.instrument, Align::left, false, 55);
  y += 11;
  for (const std::string& line : wrapped(pen, 8, verdict_words(inspection, jobs), width, true)) {
    draw_text(pen, margin_mm, y, 8, line, Align::left, true);
    y += 9;
  }
  std::string made = context.scan_name;
  if (!context.made_on.empty()) made = context.made_on + ", " + made;
  draw_text(pen, margin_mm, y, 3.6, made, Align::left, false, 90);
  y += 6;
  y += draw_rim(pen, inspection, jobs, margin_mm, y, width, 70.0);

  const FaceExtent extent = face_extent(inspection.measures.map);
  const double for_face = extent.is_empty() ? 0.0 : 46.0;
  const double for_cautions = 38.0;
  cairo_set_source_rgb(pen, 0.13, 0.12, 0.1);
  y += 5;
  std::size_t said = 0;
  for (const Job& job : jobs) {
    const Finding& finding = inspection.findings[job.findings.front()];
    const std::string place = finding.feature + (job.verdict == Verdict::undecided ? " (undecided): " : ": ");
    const std::vector<std::string> lines = wrapped(pen, 4.4, place + finding.advice + ".", width - 10);
    if (y + static_cast<double>(lines.size()) * 5.6 > bottom - for_face - for_cautions - 8) break;
    draw_text(pen, margin_mm, y, 5.0, std::to_string(job.number), Align::left, true);
    for (const std::string& line : lines) {
      draw_text(pen, margin_mm + 10, y, 4.4, line);
      y += 5.6;
    }
    y += 1.6;
    ++said;
  }
  if (said < jobs.size()) {
    draw_text(pen, margin_mm, y, 4.4, "and " + std::to_string(jobs.size() - said) + " more in report.html");
  }

  if (for_face > 0) {
    const UnrolledMap& map = inspection.measures.map;
    const HeatScale scale = heat_scale_for(inspection);
    FacePlacement place;
    place.from_mm = extent.from_mm;
    place.to_mm = extent.to_mm;
    place.along_per_mm = width / extent.length_mm();
    place.across_per_mm = 20.0 / std::max(face_height_mm(map), 1.0);
    place.x = margin_mm;
    place.y = bottom - for_cautions - for_face + 12;
    place.line = 0.15;
    place.text = 3.2;
    draw_legend(pen, scale, inspection.plan.units, margin_mm + width - 90, place.y - 12, 80, 3, 2.6, 0.12);
    cairo_set_source_rgb(pen, 0.13, 0.12, 0.1);
    draw_text(pen, margin_mm, place.y - 4, 3.8, "The face unrolled, upper edge on top", Align::left, true);
    FacePicture(map, scale).draw(pen, place);
  }

  y = bottom - for_cautions + 4;
  cairo_set_source_rgb(pen, 0.13, 0.12, 0.1);
  cairo_set_line_width(pen, 0.5);
  cairo_rectangle(pen, margin_mm, y - 6, width, for_cautions);
  cairo_stroke(pen);
  for (const char* caution :
       {"A scan does not replace a hand check: set a gauge on the work before any cut that cannot be undone.",
        "Routing: eye and ear protection, work held fast, light passes, both hands clear; unplug to change a cutter.",
        "Dust and the fumes of adhesives and lacquers harm lungs and can burn: extraction, a fitting mask, fresh air, "
        "no "
        "flames.",
        "Follow local codes, and leave to licensed practice what they ask it for."}) {
    for (const std::string& line : wrapped(pen, 3.4, caution, width - 8)) {
      draw_text(pen, margin_mm + 4, y, 3.4, line);
      y += 4.5;
    }
  }
  return pages.finish();
}

}  // namespace rimwright
