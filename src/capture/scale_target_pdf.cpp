#include <cairo-pdf.h>
#include <cairo.h>

#include <array>
#include <cstdio>
#include <memory>

#include "capture/scale_target.h"
#include "core/write_whole.h"

namespace rimwright {
namespace {

constexpr double points_per_mm = 72.0 / 25.4;
constexpr double printer_margin_mm = 6.0;  // what home printers cannot reach; common practice, no source

struct Sheet {
  std::string name;
  double width_mm, height_mm;
};

Sheet landscape(Paper paper) {
  if (paper == Paper::letter) return {"Letter", 279.4, 215.9};
  return {"A4", 297.0, 210.0};
}

cairo_status_t append(void* text, const unsigned char* bytes, unsigned int count) {
  static_cast<std::string*>(text)->append(reinterpret_cast<const char*>(bytes), count);
  return CAIRO_STATUS_SUCCESS;
}

void write_line(cairo_t* page, double x_mm, double y_mm, double height_mm, bool bold, const std::string& words) {
  cairo_select_font_face(page, "DejaVu Sans", CAIRO_FONT_SLANT_NORMAL,
                         bold ? CAIRO_FONT_WEIGHT_BOLD : CAIRO_FONT_WEIGHT_NORMAL);
  cairo_set_font_size(page, height_mm);
  cairo_move_to(page, x_mm, y_mm);
  cairo_show_text(page, words.c_str());
}

void fill(cairo_t* page, const std::vector<std::array<double, 4>>& rectangles_mm, double left_mm, double top_mm,
          double grey) {
  for (const auto& [x, y, width, height] : rectangles_mm) cairo_rectangle(page, left_mm + x, top_mm + y, width, height);
  cairo_set_source_rgb(page, grey, grey, grey);
  cairo_fill(page);  // one path, so that touching rectangles leave no hairline between them
}

void write_advice(cairo_t* page, const ScaleTarget& target, double left_mm, double first_line_mm) {
  std::array<char, 160> bar{};
  std::snprintf(bar.data(), bar.size(),
                "This bar is %g mm at true size. Measure it with callipers, outer edge to outer edge, and give the "
                "reading: --bar 99.6",
                target.check_bar_mm);
  const std::array<std::string, 4> lines = {std::string(bar.data()),
                                            "Print at 100 % (no 'fit to page') on plain matt paper. Glue it to "
                                            "something flat and stiff: glass, a tile, board.",
                                            "Lay it on the top, 40 mm or more clear of the rim, and leave it there. "
                                            "Take 24 photos or more, all round the bevel",
                                            "from 25 to 45 cm: high, half way, and low enough to see 45 mm of the "
                                            "side. Plain wood: scribble on it with pencil."};
  double y_mm = first_line_mm;
  for (const std::string& line : lines) {
    write_line(page, left_mm, y_mm, 3.1, false, line);
    y_mm += 4.6;
  }
}

}  // namespace

Outcome<std::string> scale_target_pdf(const ScaleTarget& target, Paper paper) {
  const auto artwork = draw_scale_target(target);
  if (!artwork) return tl::unexpected(artwork.error());
  const Sheet sheet = landscape(paper);
  const double title_mm = 9.0, bar_height_mm = 5.0, words_mm = 24.0, gap_mm = 4.0;
  const double needed_mm = title_mm + target.height_mm() + gap_mm + bar_height_mm + words_mm;
  if (target.width_mm() > sheet.width_mm - 2 * printer_margin_mm ||
      needed_mm > sheet.height_mm - 2 * printer_margin_mm || target.check_bar_mm > sheet.width_mm - 40.0) {
    return refuse(RefusalReason::settings_not_valid, "the board does not fit on " + sheet.name,
                  "make its squares fewer or smaller in the settings");
  }
  const double left_mm = 0.5 * (sheet.width_mm - target.width_mm());
  const double top_mm = 0.5 * (sheet.height_mm - needed_mm) + title_mm;
  const double bar_top_mm = top_mm + target.height_mm() + gap_mm;

  std::string pdf;
  const std::unique_ptr<cairo_surface_t, decltype(&cairo_surface_destroy)> surface(
      cairo_pdf_surface_create_for_stream(append, &pdf, sheet.width_mm * points_per_mm,
                                          sheet.height_mm * points_per_mm),
      cairo_surface_destroy);
  cairo_pdf_surface_set_metadata(surface.get(), CAIRO_PDF_METADATA_TITLE, "rimwright scale target");
  const std::unique_ptr<cairo_t, decltype(&cairo_destroy)> page(cairo_create(surface.get()), cairo_destroy);
  cairo_scale(page.get(), points_per_mm, points_per_mm);
  cairo_set_source_rgb(page.get(), 0, 0, 0);
  std::array<char, 160> title{};
  std::snprintf(title.data(), title.size(), "rimwright scale target  |  %s at 100 %%  |  %d x %d squares of %g mm",
                sheet.name.c_str(), target.squares_across, target.squares_down, target.square_mm);
  write_line(page.get(), left_mm, top_mm - 4.0, 3.6, true, title.data());
  fill(page.get(), artwork->black_mm, left_mm, top_mm, 0.0);
  fill(page.get(), artwork->white_mm, left_mm, top_mm, 1.0);
  fill(page.get(), {{0.0, 0.0, target.check_bar_mm, bar_height_mm}}, left_mm, bar_top_mm, 0.0);
  write_advice(page.get(), target, left_mm, bar_top_mm + bar_height_mm + 5.5);
  cairo_show_page(page.get());
  cairo_surface_finish(surface.get());
  if (cairo_surface_status(surface.get()) != CAIRO_STATUS_SUCCESS) {
    return refuse(RefusalReason::output_not_writable, "the sheet could not be drawn", "check that fonts are installed");
  }
  return pdf;
}

Outcome<void> write_scale_target(const ScaleTarget& target, Paper paper, const std::filesystem::path& path) {
  const auto pdf = scale_target_pdf(target, paper);
  if (!pdf) return tl::unexpected(pdf.error());
  return write_whole(path.string(), *pdf);
}

}  // namespace rimwright
