#include "report/paper.h"

#include <cairo-pdf.h>

#include "core/safe_text.h"

namespace rimwright {
namespace {

cairo_status_t append(void* bytes, const unsigned char* data, unsigned int length) {
  static_cast<std::string*>(bytes)->append(reinterpret_cast<const char*>(data), length);
  return CAIRO_STATUS_SUCCESS;
}

}  // namespace

PaperSize paper_for(LengthUnit units, bool landscape) {
  PaperSize size = units == LengthUnit::inch ? PaperSize{215.9, 279.4} : PaperSize{210.0, 297.0};
  if (landscape) std::swap(size.width_mm, size.height_mm);
  return size;
}

PdfPages::PdfPages(PaperSize size, const std::string& title)
    : size_(size),
      bytes_(std::make_unique<std::string>()),
      surface_(cairo_pdf_surface_create_for_stream(append, bytes_.get(), size.width_mm * points_per_mm,
                                                   size.height_mm * points_per_mm)),
      pen_(cairo_create(surface_.get())) {
  cairo_pdf_surface_set_metadata(surface_.get(), CAIRO_PDF_METADATA_TITLE, safe_text(title, 120).c_str());
  cairo_pdf_surface_set_metadata(surface_.get(), CAIRO_PDF_METADATA_CREATOR, "rimwright");
  cairo_scale(pen_.get(), points_per_mm, points_per_mm);
}

void PdfPages::next_page() { cairo_show_page(pen_.get()); }

Outcome<std::string> PdfPages::finish() {
  const cairo_status_t drawn = cairo_status(pen_.get());
  cairo_surface_finish(surface_.get());
  if (drawn != CAIRO_STATUS_SUCCESS || cairo_surface_status(surface_.get()) != CAIRO_STATUS_SUCCESS) {
    return refuse(RefusalReason::output_not_writable,
                  std::string("a PDF could not be drawn (") + cairo_status_to_string(drawn) + ")",
                  "free some memory and try again");
  }
  return std::move(*bytes_);
}

void draw_check_bar(cairo_t* pen, double x, double y) {
  constexpr double bar_mm = 100.0;
  cairo_set_source_rgb(pen, 0, 0, 0);
  cairo_set_line_width(pen, 0.2);
  cairo_move_to(pen, x, y);
  cairo_line_to(pen, x + bar_mm, y);
  for (const double end : {0.0, bar_mm}) {
    cairo_move_to(pen, x + end, y - 2.5);
    cairo_line_to(pen, x + end, y + 2.5);
  }
  cairo_stroke(pen);
  draw_text(pen, x + bar_mm + 4, y + 1.2, 3.4,
            "This bar must measure 100.0 mm. If not, print again at 100 %, not fitted to the page.");
}

}  // namespace rimwright
