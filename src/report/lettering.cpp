#include "report/lettering.h"

#include <algorithm>

namespace rimwright {

std::string drawable(const std::string& text, std::size_t most) {
  std::string clean;
  std::size_t characters = 0;
  for (std::size_t i = 0; i < text.size();) {
    if (characters == most) return clean + "\xE2\x80\xA6";
    const auto lead = static_cast<unsigned char>(text[i]);
    const std::size_t length = lead < 0x80                   ? 1
                               : lead >= 0xC2 && lead < 0xE0 ? 2
                               : lead >= 0xE0 && lead < 0xF0 ? 3
                               : lead >= 0xF0 && lead < 0xF5 ? 4
                                                             : 0;
    bool valid = length > 0 && i + length <= text.size();
    for (std::size_t k = 1; valid && k < length; ++k)
      valid = (static_cast<unsigned char>(text[i + k]) & 0xC0U) == 0x80U;
    if (length == 3 && valid) {  // overlong forms and surrogates
      const auto second = static_cast<unsigned char>(text[i + 1]);
      valid = !(lead == 0xE0 && second < 0xA0) && !(lead == 0xED && second > 0x9F);
    }
    if (length == 4 && valid) {
      const auto second = static_cast<unsigned char>(text[i + 1]);
      valid = !(lead == 0xF0 && second < 0x90) && !(lead == 0xF4 && second > 0x8F);
    }
    if (!valid) {
      clean += "\xEF\xBF\xBD";
      ++i;
    } else {
      if (lead < 0x20 || lead == 0x7F) {
        clean += ' ';
      } else {
        clean.append(text, i, length);
      }
      i += length;
    }
    ++characters;
  }
  return clean;
}

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
  cairo_text_extents(pen, drawable(text).c_str(), &extents);
  return extents.x_advance;
}

void draw_text(cairo_t* pen, double x, double y, double size, const std::string& text, Align align, bool bold,
               std::size_t most) {
  choose_font(pen, size, bold);
  const std::string clean = drawable(text, most);
  cairo_text_extents_t extents;
  cairo_text_extents(pen, clean.c_str(), &extents);
  const double shift = align == Align::left ? 0.0 : align == Align::middle ? extents.x_advance / 2 : extents.x_advance;
  cairo_move_to(pen, x - shift, y);
  cairo_show_text(pen, clean.c_str());
}

std::vector<std::string> wrapped(cairo_t* pen, double size, const std::string& text, double width, bool bold) {
  constexpr std::size_t most = 1000;  // characters; a longer text is cut
  const std::string clean = drawable(text, most);
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
