#include "report/face_drawing.h"

#include <algorithm>
#include <cmath>
#include <cstdio>

#include "judge/words.h"
#include "report/lettering.h"

namespace rimwright {
namespace {

void set_colour(cairo_t* pen, const Rgb& rgb) {
  cairo_set_source_rgb(pen, rgb[0] / 255.0, rgb[1] / 255.0, rgb[2] / 255.0);
}

constexpr Rgb ink{34, 30, 26};

// The cells as a small picture, one pixel a cell, upper edge first.
Surface cells_as_picture(const UnrolledMap& map, double range_mm) {
  Surface picture(
      cairo_image_surface_create(CAIRO_FORMAT_ARGB32, static_cast<int>(map.columns), static_cast<int>(map.rows)));
  if (cairo_surface_status(picture.get()) != CAIRO_STATUS_SUCCESS) return picture;
  cairo_surface_flush(picture.get());
  unsigned char* bytes = cairo_image_surface_get_data(picture.get());
  const int stride = cairo_image_surface_get_stride(picture.get());
  for (std::size_t row = 0; row < map.rows; ++row) {
    auto* line = reinterpret_cast<std::uint32_t*>(bytes + static_cast<std::size_t>(stride) * (map.rows - 1 - row));
    for (std::size_t column = 0; column < map.columns; ++column) {
      const float deviation = map.deviation_mm[row * map.columns + column];
      const Rgb rgb = heat_colour(deviation, range_mm);
      line[column] = std::isnan(deviation) ? 0U
                                           : 0xFF000000U | static_cast<std::uint32_t>(rgb[0]) << 16 |
                                                 static_cast<std::uint32_t>(rgb[1]) << 8 | rgb[2];
    }
  }
  cairo_surface_mark_dirty(picture.get());
  return picture;
}

}  // namespace

double face_height_mm(const UnrolledMap& map) { return static_cast<double>(map.rows) * map.across_step_mm; }
FaceExtent face_extent(const UnrolledMap& map) {
  if (map.deviation_mm.size() != map.columns * map.rows) return {};
  std::size_t first = map.columns, last = 0;
  for (std::size_t i = 0; i < map.deviation_mm.size(); ++i) {
    if (std::isnan(map.deviation_mm[i])) continue;
    first = std::min(first, i % map.columns);
    last = std::max(last, i % map.columns);
  }
  if (first > last) return {};
  constexpr double whole_mm = 10.0;
  const auto station = [&](std::size_t column) {
    return map.first_station_mm + static_cast<double>(column) * map.station_step_mm;
  };
  return {std::floor(station(first) / whole_mm) * whole_mm, std::ceil(station(last) / whole_mm + 1e-9) * whole_mm};
}

void draw_ticks(cairo_t* pen, const FacePlacement& place, double height) {
  set_colour(pen, ink);
  const double bottom = place.y + height;
  constexpr double small_mm = 10.0, large_mm = 50.0;
  for (double s = std::ceil(place.from_mm / small_mm) * small_mm; s <= place.to_mm + 1e-9; s += small_mm) {
    const double x = place.x + (s - place.from_mm) * place.along_per_mm;
    const bool large = std::abs(std::remainder(s, large_mm)) < 1e-6;
    cairo_set_line_width(pen, large ? 1.6 * place.line : place.line);
    cairo_move_to(pen, x, bottom);
    cairo_line_to(pen, x, bottom + place.text * (large ? 0.6 : 0.35));
    cairo_stroke(pen);
    if (!large) continue;
    char label[32];
    std::snprintf(label, sizeof label, "%.0f", s);
    draw_text(pen, x, bottom + 1.6 * place.text, place.text, label, Align::middle);
  }
}

FacePicture::FacePicture(const UnrolledMap& map, const HeatScale& scale)
    : map_(map),
      scale_(scale),
      is_empty_(map.columns == 0 || map.rows == 0 || map.deviation_mm.size() != map.columns * map.rows) {
  if (is_empty_) return;
  cells_ = cells_as_picture(map, scale.range_mm);
  smooth_ = smoothed_map(map);
  contours_ = {contour_segments(smooth_, -scale.limit_mm), contour_segments(smooth_, scale.limit_mm)};
}

// Rows of short strokes on cells beyond the limit: rising strokes for wood to take off, level ones for too deep.
void FacePicture::draw_hatch(cairo_t* pen, const FacePlacement& place) const {
  const UnrolledMap& map = smooth_;
  constexpr double pitch_mm = 2.0;
  const double length = 0.9 * pitch_mm;
  const double height_mm = face_height_mm(map);
  set_colour(pen, ink);
  cairo_set_line_width(pen, 0.7 * place.line);
  for (double across = pitch_mm / 2; across < height_mm; across += pitch_mm) {
    const auto row = static_cast<std::size_t>(across / map.across_step_mm);
    for (double s = std::max(place.from_mm, map.first_station_mm); s <= place.to_mm; s += pitch_mm) {
      const auto column = static_cast<std::size_t>((s - map.first_station_mm) / map.station_step_mm);
      if (column >= map.columns || row >= map.rows) continue;
      const double deviation = map.deviation_mm[row * map.columns + column];
      if (!(std::abs(deviation) > scale_.limit_mm)) continue;
      const double x = place.x + (s - place.from_mm) * place.along_per_mm;
      const double y = place.y + (height_mm - across) * place.across_per_mm;
      const double half = length / 2 * place.along_per_mm;
      const double rise = deviation > 0 ? length / 2 * place.across_per_mm : 0.0;
      cairo_move_to(pen, x - half, y + rise);
      cairo_line_to(pen, x + half, y - rise);
    }
  }
  cairo_stroke(pen);
}

void FacePicture::draw_contours(cairo_t* pen, const FacePlacement& place) const {
  const double height_mm = face_height_mm(map_);
  const double beyond_mm = 2.0 * place.line / place.along_per_mm;  // half of what a line and its ends take, and more
  set_colour(pen, ink);
  for (const std::vector<Segment>& segments : contours_) {
    cairo_set_line_width(pen, 1.3 * place.line);
    for (const Segment& segment : segments) {
      const auto [first_mm, last_mm] = std::minmax({segment[0].x(), segment[1].x()});
      if (last_mm < place.from_mm - beyond_mm || first_mm > place.to_mm + beyond_mm) continue;
      for (std::size_t end = 0; end < 2; ++end) {
        const double x = place.x + (segment[end].x() - place.from_mm) * place.along_per_mm;
        const double y = place.y + (height_mm - (segment[end].y() - map_.first_across_mm)) * place.across_per_mm;
        end == 0 ? cairo_move_to(pen, x, y) : cairo_line_to(pen, x, y);
      }
    }
    cairo_stroke(pen);
  }
}

void FacePicture::draw(cairo_t* pen, const FacePlacement& place) const {
  if (is_empty_) return;
  const double width = (place.to_mm - place.from_mm) * place.along_per_mm;
  const double height = face_height_mm(map_) * place.across_per_mm;

  cairo_save(pen);
  cairo_rectangle(pen, place.x, place.y, width, height);
  cairo_clip(pen);
  set_colour(pen, heat_colour(std::numeric_limits<double>::quiet_NaN(), 1.0));
  cairo_paint(pen);
  cairo_save(pen);
  // A cell's value is that of its middle, half a step beyond its index.
  cairo_translate(
      pen, place.x + (map_.first_station_mm - place.from_mm - map_.station_step_mm / 2) * place.along_per_mm, place.y);
  cairo_scale(pen, map_.station_step_mm * place.along_per_mm, map_.across_step_mm * place.across_per_mm);
  cairo_set_source_surface(pen, cells_.get(), 0, 0);
  cairo_pattern_set_filter(cairo_get_source(pen), CAIRO_FILTER_BILINEAR);
  cairo_paint(pen);
  cairo_restore(pen);
  draw_hatch(pen, place);
  draw_contours(pen, place);
  cairo_restore(pen);

  set_colour(pen, ink);
  cairo_set_line_width(pen, place.line);
  cairo_rectangle(pen, place.x, place.y, width, height);
  cairo_stroke(pen);
  draw_ticks(pen, place, height);
}

void draw_legend(cairo_t* pen, const HeatScale& scale, LengthUnit units, double x, double y, double width,
                 double height, double text, double line) {
  constexpr int parts = 120;
  for (int i = 0; i < parts; ++i) {
    set_colour(pen, heat_colour((2.0 * (i + 0.5) / parts - 1.0) * scale.range_mm, scale.range_mm));
    cairo_rectangle(pen, x + width * i / parts, y, width / parts * 1.05, height);
    cairo_fill(pen);
  }
  set_colour(pen, ink);
  cairo_set_line_width(pen, line);
  cairo_rectangle(pen, x, y, width, height);
  cairo_stroke(pen);
  for (const double mark : {-scale.range_mm, -scale.limit_mm, 0.0, scale.limit_mm, scale.range_mm}) {
    const double at = x + width * (mark / scale.range_mm + 1) / 2;
    cairo_set_line_width(pen, line * (mark == 0.0 || std::abs(mark) == scale.limit_mm ? 2.0 : 1.0));
    cairo_move_to(pen, at, y - 0.3 * height);
    cairo_line_to(pen, at, y + height + 0.3 * height);
    cairo_stroke(pen);
    draw_text(pen, at, y + 1.3 * height + 1.1 * text, text, (mark > 0 ? "+" : "") + length_words(mark, units),
              Align::middle);
  }
  draw_text(pen, x, y - 0.6 * height, text, "too deep (level strokes)");
  draw_text(pen, x + width, y - 0.6 * height, text, "wood to take off (rising strokes)", Align::right);
}

}  // namespace rimwright
