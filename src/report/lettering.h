// Cairo surfaces that free themselves, and text on them. DejaVu Sans, which PDF surfaces embed.
#pragma once

#include <cairo.h>

#include <memory>
#include <string>
#include <vector>

namespace rimwright {

struct CairoFree {
  void operator()(cairo_surface_t* surface) const { cairo_surface_destroy(surface); }
  void operator()(cairo_t* cairo) const { cairo_destroy(cairo); }
};
using Surface = std::unique_ptr<cairo_surface_t, CairoFree>;
using Pen = std::unique_ptr<cairo_t, CairoFree>;

enum class Align { left, middle, right };
// y is the base line. Text is made safe (core/safe_text.h) and cut to `most` characters.
void draw_text(cairo_t* pen, double x, double y, double size, const std::string& text, Align align = Align::left,
               bool bold = false, std::size_t most = 200);
[[nodiscard]] double text_width(cairo_t* pen, double size, const std::string& text, bool bold = false);

// Breaks at spaces into lines no wider than `width`; a word that is wider is broken where it must.
[[nodiscard]] std::vector<std::string> wrapped(cairo_t* pen, double size, const std::string& text, double width,
                                               bool bold = false);

}  // namespace rimwright
