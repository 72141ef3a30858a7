#include <algorithm>
#include <bit>
#include <cmath>
#include <cstdio>
#include <cstring>
#include <limits>

#include "report/comparison_report.h"
#include "report/face_drawing.h"

namespace rimwright {
namespace {

static_assert(std::endian::native == std::endian::little, "numbers are written as they lie in memory");

constexpr double cell_mm = 2.0;
constexpr double margin = 70.0, text_size = 15.0;
constexpr double longest_mm = 6000.0;

cairo_status_t append(void* bytes, const unsigned char* data, unsigned int length) {
  static_cast<std::string*>(bytes)->append(reinterpret_cast<const char*>(data), length);
  return CAIRO_STATUS_SUCCESS;
}

// From near-white to a deep violet, dark with depth in a grey print too; one hue, so nothing hangs on telling colours.
Rgb removal_colour(double removed_mm, double range_mm) {
  const double share = std::clamp(removed_mm / range_mm, 0.0, 1.0);
  const auto mix = [&](double from, double to) {
    return static_cast<std::uint8_t>(std::lround(from + share * (to - from)));
  };
  return {mix(243, 60), mix(238, 20), mix(247, 120)};
}

void set_colour(cairo_t* pen, const Rgb& rgb) {
  cairo_set_source_rgb(pen, rgb[0] / 255.0, rgb[1] / 255.0, rgb[2] / 255.0);
}

double rounded_up(double value_mm) { return std::max(0.1, std::ceil(value_mm * 10.0) / 10.0); }

std::string two_decimals(double value) {
  char text[32];
  std::snprintf(text, sizeof text, "%.2f", value);
  return text;
}

struct Bounds {
  double from_mm = std::numeric_limits<double>::infinity(), to_mm = -from_mm;
  double low_mm = from_mm, high_mm = -from_mm;
  double most_removed_mm = 0.0, most_left_mm = 0.0;
};

Bounds bounds_of(const PassComparison& comparison) {
  Bounds b;
  std::vector<double> removed, left;
  for (const RemovalCell& cell : comparison.cells) {
    if (cell.kind != FaceKind::bevel) continue;
    b.from_mm = std::min(b.from_mm, cell.station_mm);
    b.to_mm = std::max(b.to_mm, cell.station_mm);
    b.low_mm = std::min(b.low_mm, cell.across_mm);
    b.high_mm = std::max(b.high_mm, cell.across_mm);
    removed.push_back(cell.removed_mm);
    if (std::isfinite(cell.left_mm)) left.push_back(std::abs(cell.left_mm));
  }
  const auto nearly_most = [](std::vector<double>& values) {
    if (values.empty()) return 0.0;
    std::sort(values.begin(), values.end());
    return values[static_cast<std::size_t>(0.98 * static_cast<double>(values.size() - 1))];
  };
  b.most_removed_mm = rounded_up(nearly_most(removed));
  b.most_left_mm = rounded_up(nearly_most(left));
  return b;
}

class MapPanel {
 public:
  MapPanel(cairo_t* pen, const Bounds& bounds, double y, double scale) : pen_(pen), b_(bounds), y_(y), scale_(scale) {}

  void cell(const RemovalCell& cell, const Rgb& rgb, bool dotted) const {
    const double x = margin + (cell.station_mm - b_.from_mm - cell_mm / 2) * scale_;
    const double y = y_ + (b_.high_mm - cell.across_mm - cell_mm / 2) * scale_;
    const double size = 1.4 * cell_mm * scale_;  // cells lie on the body's grid, not on the map's: no white seams
    cairo_rectangle(pen_, x, y, size, size);
    set_colour(pen_, rgb);
    cairo_fill(pen_);
    if (!dotted) return;
    cairo_arc(pen_, x + size / 2, y + size / 2, 1.0, 0.0, 6.3);
    cairo_set_source_rgb(pen_, 0.62, 0.6, 0.57);
    cairo_fill(pen_);
  }
  void frame(const std::string& title) const {
    const double height = (b_.high_mm - b_.low_mm + cell_mm) * scale_;
    cairo_set_source_rgb(pen_, 0.13, 0.12, 0.1);
    draw_text(pen_, margin, y_ - 14.0, 18.0, title, Align::left, true);
    cairo_set_line_width(pen_, 1.0);
    for (double s = std::ceil(b_.from_mm / 10.0) * 10.0; s <= b_.to_mm; s += 10.0) {
      const double x = margin + (s - b_.from_mm) * scale_;
      const bool numbered = std::fmod(std::abs(s), 50.0) < 0.5;
      cairo_move_to(pen_, x, y_ + height + 4.0);
      cairo_line_to(pen_, x, y_ + height + (numbered ? 14.0 : 9.0));
      cairo_stroke(pen_);
      if (numbered) draw_text(pen_, x, y_ + height + 30.0, text_size, std::to_string(std::lround(s)), Align::middle);
    }
  }

 private:
  cairo_t* pen_;
  const Bounds& b_;
  double y_, scale_;
};

template <class Colour>
void legend(cairo_t* pen, double x, double y, double low, double high, const Colour& colour) {
  constexpr int steps = 60;
  constexpr double width = 240.0, height = 16.0;
  for (int i = 0; i < steps; ++i) {
    set_colour(pen, colour(low + (high - low) * (i + 0.5) / steps));
    cairo_rectangle(pen, x + width * i / steps, y, width / steps + 0.6, height);
    cairo_fill(pen);
  }
  cairo_set_source_rgb(pen, 0.13, 0.12, 0.1);
  draw_text(pen, x, y + height + 16.0, 13.0, two_decimals(low), Align::middle);
  if (low < 0.0) draw_text(pen, x + width / 2, y + height + 16.0, 13.0, "0", Align::middle);
  draw_text(pen, x + width, y + height + 16.0, 13.0, two_decimals(high) + " mm", Align::middle);
}

}  // namespace

std::string removal_png(const PassComparison& comparison) {
  const Bounds b = bounds_of(comparison);
  if (!(b.to_mm > b.from_mm) || b.to_mm - b.from_mm > longest_mm) return {};
  const double scale = std::clamp(1260.0 / (b.to_mm - b.from_mm), 1.0, 8.0);
  const double map_height = (b.high_mm - b.low_mm + cell_mm) * scale;
  const double panel = map_height + 130.0;
  const Surface surface(cairo_image_surface_create(
      CAIRO_FORMAT_RGB24, static_cast<int>(2 * margin + std::max(640.0, (b.to_mm - b.from_mm) * scale)),
      static_cast<int>(2 * panel + 40.0)));
  const Pen pen(cairo_create(surface.get()));
  cairo_set_source_rgb(pen.get(), 1, 1, 1);
  cairo_paint(pen.get());

  const MapPanel off(pen.get(), b, 90.0, scale), left(pen.get(), b, 90.0 + panel, scale);
  for (const RemovalCell& cell : comparison.cells) {
    if (cell.kind != FaceKind::bevel) continue;
    off.cell(cell, removal_colour(cell.came_off() ? cell.removed_mm : 0.0, b.most_removed_mm), !cell.came_off());
    if (std::isfinite(cell.left_mm)) left.cell(cell, heat_colour(cell.left_mm, b.most_left_mm), false);
  }
  off.frame("What came off the bevel (dotted: less than both scans can tell, " + two_decimals(comparison.tell_mm) +
            " mm)");
  left.frame("What is left to take off (orange), or gone too deep (blue)");
  legend(pen.get(), margin + 60.0, 14.0, 0.0, b.most_removed_mm,
         [&](double value) { return removal_colour(value, b.most_removed_mm); });
  legend(pen.get(), margin + 60.0, 14.0 + panel, -b.most_left_mm, b.most_left_mm,
         [&](double value) { return heat_colour(value, b.most_left_mm); });
  std::string bytes;
  if (cairo_surface_write_to_png_stream(surface.get(), append, &bytes) != CAIRO_STATUS_SUCCESS) return {};
  return bytes;
}

std::string removal_ply(const PassComparison& comparison) {
  const Bounds b = bounds_of(comparison);
  std::string rows;
  const auto put = [&](double value) {
    const auto narrow = static_cast<float>(value);
    char bytes[sizeof narrow];
    std::memcpy(bytes, &narrow, sizeof narrow);
    rows.append(bytes, sizeof narrow);
  };
  for (const RemovalCell& cell : comparison.cells) {
    for (int axis = 0; axis < 3; ++axis) put(cell.at_after_mm[axis]);
    for (const std::uint8_t part : removal_colour(cell.came_off() ? cell.removed_mm : 0.0, b.most_removed_mm)) {
      rows += static_cast<char>(part);
    }
    put(cell.removed_mm);
    put(cell.u95_mm());
    put(cell.left_mm);
  }
  return "ply\nformat binary_little_endian 1.0\ncomment millimetres, frame of the later scan; removal positive = came "
         "off\n"
         "element vertex " +
         std::to_string(comparison.cells.size()) +
         "\nproperty float x\nproperty float y\nproperty float z\nproperty uchar red\nproperty uchar green\nproperty "
         "uchar "
         "blue\nproperty float removal\nproperty float u95\nproperty float left\nend_header\n" +
         rows;
}

}  // namespace rimwright
