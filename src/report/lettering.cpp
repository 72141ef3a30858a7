#include "report/lettering.h"

#include <algorithm>

#include "core/safe_text.h"

namespace rimwright {

namespace {
void choose_font(cairo_t* pen, double size, bool bold) {
  cairo_select_font_face(pen, "DejaVu Sans", CAIRO_FONT_SLANT_NORMAL,
                         bold ? CAIRO_FONT_WEIGHT_BOLD : CAIRO_FONT_WEIGHT_NORMAL);
  cairo_set_font_size(pen, size);
}
}  // namespace

double text_width(cairo_t* pen, double size, const std::string& text, bool bold) {
  choose_font(pen, size, bold);
  cairo_text_extents_t extents;
  cairo_text_extents(pen, safe_text(text).c_str(), &extents);
  return extents.x_advance;
}

void draw_text(cairo_t* pen, double x, double y, double size, const std::string& text, Align align, bool bold,
               std::size_t most) {
  choose_font(pen, size, bold);
  const std::string clean = safe_text(text, most);
  cairo_text_extents_t extents;
  cairo_text_extents(pen, clean.c_str(), &extents);
  const double shift = align == Align::left ? 0.0 : align == Align::middle ? extents.x_advance / 2 : extents.x_advance;
  cairo_move_to(pen, x - shift, y);
  cairo_show_text(pen, clean.c_str());
}

std::vector<std::string> wrapped(cairo_t* pen, double size, const std::string& text, double width, bool bold) {
  constexpr std::size_t most = 1000;  // characters; a longer text is cut
  const std::string clean = safe_text(text, most);
  std::vector<std::string> lines;
  std::string line;
  const auto fits = [&](const std::string& candidate) { return text_width(pen, size, candidate, bold) <= width; };
  std::size_t at = 0;
  while (at < clean.size()) {
    const std::size_t space = std::min(clean.find(' ', at), clean.size());
    std::string word = clean.substr(at, space - at);
    at = space + 1;
    if (line.empty() ? fits(word) : fits(line + " " + word)) {
      line += (line.empty() ? "" : " ") + word;
      continue;
    }
    if (!line.empty()) lines.push_back(std::move(line));
    line.clear();
    while (!fits(word)) {
      std::string head;
      std::size_t taken = 0;
      while (taken < word.size()) {
        std::size_t next = taken + 1;
        while (next < word.size() && (static_cast<unsigned char>(word[next]) & 0xC0U) == 0x80U) ++next;
        if (taken > 0 && !fits(word.substr(0, next))) break;
        taken = next;
      }
      lines.push_back(word.substr(0, taken));
      word.erase(0, taken);
    }
    line = word;
  }
  if (!line.empty()) lines.push_back(line);
  return lines;
}

}  // namespace rimwright
