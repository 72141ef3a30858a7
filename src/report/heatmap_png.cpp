#include "report/heatmap_png.h"

#include <algorithm>
#include <bit>
#include <cmath>
#include <vector>

#include "core/picture_files.h"
#include "judge/words.h"
#include "report/face_drawing.h"
#include "report/jobs.h"

namespace rimwright {
namespace {

static_assert(std::endian::native == std::endian::little, "a pixel is blue, green, red in memory");

constexpr double longest_band_mm = 320.0;  // of rim in one band
constexpr double along_px = 4.6;           // a millimetre along
constexpr double across_px = 4.6;          // and across: true shape
constexpr double margin_px = 60.0;
constexpr double text_px = 18.0;
constexpr double longest_rim_mm = 6000.0;  // no instrument is larger; keeps the picture bounded

// Brackets above the face: the numbered stretches of the bevel's findings.
void draw_stretches(cairo_t* pen, const Inspection& inspection, const FacePlacement& place) {
  std::vector<double> taken;  // by numbers: those of stretches over one another stand side by side
  for (const Job& job : jobs_of(inspection.findings)) {
    const Finding& finding = inspection.findings[job.findings.front()];
    if (finding.feature != "bevel" || finding.from_mm > place.to_mm || finding.to_mm < place.from_mm) continue;
    const double a = place.x + (std::max(finding.from_mm, place.from_mm) - place.from_mm) * place.along_per_mm;
    const double b = place.x + (std::min(finding.to_mm, place.to_mm) - place.from_mm) * place.along_per_mm;
    const double y = place.y - 8.0;
    cairo_set_source_rgb(pen, 0.13, 0.12, 0.1);
    cairo_set_line_width(pen, 3.0);
    const double dashes[] = {6.0, 4.0};
    cairo_set_dash(pen, dashes, finding.verdict == Verdict::fail ? 0 : 2, 0);
    cairo_move_to(pen, a, y + 5);
    cairo_line_to(pen, a, y);
    cairo_line_to(pen, std::max(b, a + 4), y);
    cairo_line_to(pen, std::max(b, a + 4), y + 5);
    cairo_stroke(pen);
    cairo_set_dash(pen, nullptr, 0, 0);
    const double room = 1.5 * text_px;
    double at = (a + b) / 2;
    const auto is_taken = [&](double other) { return std::abs(other - at) < room; };
    while (std::any_of(taken.begin(), taken.end(), is_taken)) at += room;
    taken.push_back(at);
    draw_text(pen, at, y - 6, text_px, std::to_string(job.number), Align::middle, true);
  }
}

}  // namespace

Outcome<std::string> heatmap_png(const Inspection& inspection) {
  const UnrolledMap& map = inspection.measures.map;
  const FaceExtent extent = face_extent(map);
  const double length_mm = std::min(extent.length_mm(), longest_rim_mm);
  const double height_mm = std::min(face_height_mm(map), 400.0);
  const bool has_face = length_mm > 0 && height_mm > 0;
  const int bands = has_face ? static_cast<int>(std::ceil(length_mm / longest_band_mm)) : 1;
  const double band_mm = std::ceil(length_mm / bands / 10.0) * 10.0;  // of equal length
  const double shown_mm = has_face ? std::max(band_mm, 200.0) : longest_band_mm;
  const double band_height = (has_face ? height_mm : 10.0) * across_px + 5.2 * text_px;
  const double head = 150.0;
  const auto width = static_cast<int>(2 * margin_px + shown_mm * along_px);
  const auto height = static_cast<int>(head + bands * band_height + 40.0);

  const Surface surface(cairo_image_surface_create(CAIRO_FORMAT_RGB24, width, height));
  const Pen pen(cairo_create(surface.get()));
  cairo_set_source_rgb(pen.get(), 1, 1, 1);
  cairo_paint(pen.get());
  cairo_set_source_rgb(pen.get(), 0.13, 0.12, 0.1);
  if (!has_face) {
    draw_text(pen.get(), margin_px, 60, 24, inspection.plan.instrument, Align::left, true, 60);
    draw_text(pen.get(), margin_px, 110, text_px,
              inspection.plan.bevel ? "No bevel face was seen." : "The plan has no bevel: there is no face to map.");
  } else {
    const HeatScale scale = heat_scale_for(inspection);
    const FacePicture face(map, scale);
    draw_text(pen.get(), margin_px, 42, 24, inspection.plan.instrument, Align::left, true, 40);
    draw_text(pen.get(), margin_px, 70, text_px, "bevel face unrolled; stations in mm");
    draw_text(pen.get(), margin_px, 96, text_px,
              "contours: ±" + length_words(scale.limit_mm, inspection.plan.units) + ", " + scale.limit_name);
    const double bar = std::min(560.0, width - 2 * margin_px - 420.0);
    if (bar > 200.0) {
      draw_legend(pen.get(), scale, inspection.plan.units, width - margin_px - bar, 52, bar, 24, 15, 1.0);
    }
    for (int band = 0; band < bands; ++band) {
      FacePlacement place;
      place.from_mm = extent.from_mm + band * band_mm;
      place.to_mm = std::min(place.from_mm + band_mm, extent.from_mm + length_mm);
      place.x = margin_px;
      place.y = head + band * band_height + 1.8 * text_px;
      place.along_per_mm = along_px;
      place.across_per_mm = across_px;
      place.line = 1.2;
      place.text = text_px;
      face.draw(pen.get(), place);
      draw_stretches(pen.get(), inspection, place);
      cairo_save(pen.get());
      const double middle = place.y + height_mm * across_px / 2;
      cairo_translate(pen.get(), margin_px - 14, middle);
      cairo_rotate(pen.get(), -1.5707963267948966);
      draw_text(pen.get(), 0, 0, 14, "lower       upper", Align::middle);
      cairo_restore(pen.get());
    }
  }
  cairo_surface_flush(surface.get());
  const unsigned char* pixels = cairo_image_surface_get_data(surface.get());
  std::vector<unsigned char> bytes;
  if (cairo_status(pen.get()) == CAIRO_STATUS_SUCCESS && pixels != nullptr)
    bytes = png_of_rows(pixels, static_cast<std::size_t>(cairo_image_surface_get_stride(surface.get())), width, height);
  if (bytes.empty()) {
    return refuse(RefusalReason::output_not_writable, "the heat map could not be drawn",
                  "free some memory and try again");
  }
  return std::string(bytes.begin(), bytes.end());
}

}  // namespace rimwright
