#include "report/strip_pdf.h"

#include <algorithm>
#include <cmath>

#include "core/safe_text.h"
#include "judge/words.h"
#include "report/face_drawing.h"
#include "report/jobs.h"
#include "report/paper.h"

namespace rimwright {
namespace {

constexpr double segment_mm = 240.0;
constexpr double overlap_mm = 10.0;
constexpr double margin_mm = 12.0;
constexpr double lane_mm = 5.0;
constexpr double text_mm = 3.2;
constexpr double longest_rim_mm = 6000.0;

// One step of a channel as a lane of colour: how high its floor stands over the planned depth.
struct Lane {
  std::string name;
  const JudgedSeries* depth = nullptr;
};

double lane_height(const std::vector<Lane>& lanes) { return static_cast<double>(lanes.size()) * (lane_mm + 1.0); }

void draw_lane(cairo_t* pen, const Lane& lane, double range_mm, double x, double y, double from_mm, double to_mm) {
  const JudgedSeries& series = *lane.depth;
  constexpr double longest_step_mm = 4.0;
  for (std::size_t i = 0; i < series.stations.size(); ++i) {
    const JudgedStation& station = series.stations[i];
    const double next = i + 1 < series.stations.size() ? series.stations[i + 1].station_mm : station.station_mm + 1.0;
    const double a = std::max(station.station_mm, from_mm);
    const double b = std::min(station.station_mm + std::min(next - station.station_mm, longest_step_mm), to_mm);
    if (b <= a) continue;
    const Rgb rgb = heat_colour(series.nominal - station.value, range_mm);
    cairo_set_source_rgb(pen, rgb[0] / 255.0, rgb[1] / 255.0, rgb[2] / 255.0);
    cairo_rectangle(pen, x + a - from_mm, y, b - a + 0.05, lane_mm);
    cairo_fill(pen);
    // Strokes where it fails, by sign as on the face.
    if (station.verdict != Verdict::fail || std::fmod(a, 2.0) >= 1.0) continue;
    cairo_set_source_rgb(pen, 0, 0, 0);
    cairo_set_line_width(pen, 0.2);
    const double rise = station.value < series.nominal ? 1.0 : 0.0;
    cairo_move_to(pen, x + a - from_mm, y + lane_mm / 2 + rise);
    cairo_line_to(pen, x + a - from_mm + 1.6, y + lane_mm / 2 - rise);
    cairo_stroke(pen);
  }
  cairo_set_source_rgb(pen, 0, 0, 0);
  cairo_set_line_width(pen, 0.15);
  cairo_rectangle(pen, x, y, to_mm - from_mm, lane_mm);
  cairo_stroke(pen);
}

void draw_numbers(cairo_t* pen, const Inspection& inspection, double x, double y, double from_mm, double to_mm) {
  cairo_set_source_rgb(pen, 0, 0, 0);
  for (const Job& job : jobs_of(inspection.findings)) {
    const Finding& finding = inspection.findings[job.findings.front()];
    if (finding.from_mm > to_mm || finding.to_mm < from_mm) continue;
    const double a = x + std::max(finding.from_mm, from_mm) - from_mm;
    const double b = std::max(a + 0.5, x + std::min(finding.to_mm, to_mm) - from_mm);
    cairo_set_line_width(pen, 0.5);
    const double dashes[] = {1.5, 1.0};
    cairo_set_dash(pen, dashes, job.verdict == Verdict::fail ? 0 : 2, 0);
    cairo_move_to(pen, a, y + 1.2);
    cairo_line_to(pen, a, y);
    cairo_line_to(pen, b, y);
    cairo_line_to(pen, b, y + 1.2);
    cairo_stroke(pen);
    cairo_set_dash(pen, nullptr, 0, 0);
    draw_text(pen, (a + b) / 2, y - 1, 4, std::to_string(job.number), Align::middle, true);
  }
}

}  // namespace

Outcome<std::string> strip_pdf(const Inspection& inspection) {
  const Measures& measures = inspection.measures;
  const UnrolledMap& map = measures.map;
  const FaceExtent extent = face_extent(map);
  const bool has_face = !extent.is_empty();
  const double face_mm = has_face ? std::min(face_height_mm(map), 90.0) : 0.0;

  std::vector<Lane> lanes;
  double first_mm = has_face ? extent.from_mm : 1e9;
  double last_mm = has_face ? extent.to_mm : -1e9;
  for (const JudgedSeries& series : inspection.judged) {
    if (series.kind != QuantityKind::step_depth || series.stations.empty()) continue;
    lanes.push_back({series.feature + ", " + series.quantity, &series});
    first_mm = std::min(first_mm, series.stations.front().station_mm);
    last_mm = std::max(last_mm, series.stations.back().station_mm);
  }
  constexpr std::size_t most_lanes = 12;  // as many as fit on a page below the face
  if (lanes.size() > most_lanes) lanes.resize(most_lanes);
  last_mm = std::min(last_mm, first_mm + longest_rim_mm);

  PdfPages pages(paper_for(inspection.plan.units, true), inspection.plan.instrument + ", strip 1:1");
  cairo_t* pen = pages.pen();
  const HeatScale scale = heat_scale_for(inspection);
  const FacePicture face(map, scale);
  const double band_mm = 9.0 + face_mm + 8.0 + lane_height(lanes) + 6.0;
  const double top_mm = 30.0;
  const auto head = [&](int page) {
    cairo_set_source_rgb(pen, 0, 0, 0);
    draw_text(pen, margin_mm, 12, 5, inspection.plan.instrument, Align::left, true, 60);
    draw_text(pen, pages.size().width_mm - margin_mm, 12, 3.4, "strip 1:1, page " + std::to_string(page), Align::right);
    draw_check_bar(pen, margin_mm, 20);
  };
  int page = 1;
  head(page);
  if (first_mm >= last_mm) {
    draw_text(pen, margin_mm, 40, 4.5, "Nothing was measured, so there is no strip to print.");
    return pages.finish();
  }
  double y = top_mm;
  for (double from = first_mm; from < last_mm; from += segment_mm) {
    if (y + band_mm > pages.size().height_mm - margin_mm && y > top_mm) {
      pages.next_page();
      head(++page);
      y = top_mm;
    }
    const double to = std::min(from + segment_mm + overlap_mm, last_mm);
    draw_numbers(pen, inspection, margin_mm, y + 6.5, from, to);
    double below = y + 9.0;
    FacePlacement place{from, to, margin_mm, below, 1.0, 1.0, 0.18, text_mm};
    if (has_face) {
      face.draw(pen, place);
    } else {
      draw_ticks(pen, place, 0.0);
    }
    below += face_mm + 8.0;
    for (const Lane& lane : lanes) {
      draw_lane(pen, lane, scale.range_mm, margin_mm, below, from, to);
      // On a white ground: the lane's own colour may be as dark as the letters.
      const double words_mm = text_width(pen, 2.6, safe_text(lane.name, 70));
      cairo_set_source_rgb(pen, 1, 1, 1);
      cairo_rectangle(pen, margin_mm + 0.6, below + 0.9, words_mm + 1, lane_mm - 1.8);
      cairo_fill(pen);
      cairo_set_source_rgb(pen, 0, 0, 0);
      draw_text(pen, margin_mm + 1, below + lane_mm - 1.6, 2.6, lane.name, Align::left, false, 70);
      below += lane_mm + 1.0;
    }
    if (to < last_mm) {
      // Where the next segment begins.
      const double cut = margin_mm + segment_mm;
      const double dashes[] = {1.0, 1.0};
      cairo_set_dash(pen, dashes, 2, 0);
      cairo_set_line_width(pen, 0.25);
      cairo_move_to(pen, cut, y + 7);
      cairo_line_to(pen, cut, below);
      cairo_stroke(pen);
      cairo_set_dash(pen, nullptr, 0, 0);
    }
    y += band_mm;
  }
  if (y + 20 > pages.size().height_mm - margin_mm) {
    pages.next_page();
    head(++page);
    y = top_mm;
  }
  draw_legend(pen, scale, inspection.plan.units, margin_mm + 10, y + 8, 120, 5, 3, 0.15);
  draw_text(pen, margin_mm + 145, y + 9, text_mm,
            "Lay the lower edge of the face along the bevel's lower edge; stations in mm.");
  draw_text(pen, margin_mm + 145, y + 14, text_mm, "A scan does not replace a hand check before a cut.");
  return pages.finish();
}

}  // namespace rimwright
