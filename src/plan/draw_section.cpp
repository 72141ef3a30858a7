#include "plan/draw_section.h"

#include <cairo-svg.h>

#include <algorithm>
#include <array>
#include <cmath>
#include <cstdio>
#include <memory>

#include "plan/check_plan.h"
#include "plan/section_shape.h"

namespace rimwright {
namespace {

constexpr double panel_width = 760.0, panel_height = 420.0;  // points of the page
constexpr double drawing_width = 470.0;                      // the rest is for words
constexpr double margin = 46.0, head = 96.0;                 // head: the title and the dimensions over the drawing

struct Colour {
  double red, green, blue;
};
constexpr Colour ink{0.12, 0.12, 0.14}, wood{0.93, 0.85, 0.70}, block{0.83, 0.72, 0.54}, faint{0.45, 0.45, 0.48},
    cut{0.0, 0.28, 0.52};
// Strips alternate dark and light, as stacks usually do; the words beside them carry the meaning.
constexpr std::array<Colour, 4> strip_colours{
    {{0.36, 0.16, 0.20}, {0.97, 0.95, 0.88}, {0.45, 0.36, 0.24}, {0.80, 0.86, 0.82}}};

std::string mm(double value) {
  std::array<char, 32> text{};
  std::snprintf(text.data(), text.size(), "%.2f mm", value);
  return text.data();
}

cairo_status_t append_to_string(void* into, const unsigned char* data, unsigned int length) {
  static_cast<std::string*>(into)->append(reinterpret_cast<const char*>(data), length);
  return CAIRO_STATUS_SUCCESS;
}

// One panel: millimetres in (out, up) to points on the page.
class Panel {
 public:
  Panel(cairo_t* page, double top, const Vector2& low_mm, const Vector2& high_mm) : page_(page) {
    const Vector2 size = (high_mm - low_mm).cwiseMax(Vector2(0.1, 0.1));
    scale_ = std::min((drawing_width - 2.0 * margin) / size.x(), (panel_height - head - margin) / size.y());
    left_ = margin - low_mm.x() * scale_;
    base_ = top + panel_height - margin + low_mm.y() * scale_;
    top_ = top;
  }

  [[nodiscard]] Vector2 on_page(const Vector2& p) const { return {left_ + p.x() * scale_, base_ - p.y() * scale_}; }
  void colour(const Colour& c) const { cairo_set_source_rgb(page_, c.red, c.green, c.blue); }

  void path(const std::vector<Vector2>& points) const {
    for (std::size_t i = 0; i < points.size(); ++i) {
      const Vector2 p = on_page(points[i]);
      i == 0 ? cairo_move_to(page_, p.x(), p.y()) : cairo_line_to(page_, p.x(), p.y());
    }
  }
  void fill(const std::vector<Vector2>& points, const Colour& inside) const {
    path(points);
    colour(inside);
    cairo_fill(page_);
  }
  void outline(const std::vector<Vector2>& points, double width, const Colour& line, bool closed,
               bool dashed = false) const {
    constexpr std::array<double, 2> dash{5.0, 4.0};
    if (dashed) cairo_set_dash(page_, dash.data(), 2, 0.0);
    path(points);
    if (closed) cairo_close_path(page_);
    colour(line);
    cairo_set_line_width(page_, width);
    cairo_stroke(page_);
    cairo_set_dash(page_, nullptr, 0, 0.0);
  }

  void words(double x, double y, const std::string& text, double size, const Colour& c, bool bold = false) const {
    cairo_select_font_face(page_, "DejaVu Sans", CAIRO_FONT_SLANT_NORMAL,
                           bold ? CAIRO_FONT_WEIGHT_BOLD : CAIRO_FONT_WEIGHT_NORMAL);
    cairo_set_font_size(page_, size);
    colour(c);
    cairo_move_to(page_, x, y);
    cairo_show_text(page_, text.c_str());
  }
  void title(const std::string& text) const { words(margin, top_ + 24.0, text, 15.0, ink, true); }

  // A dimension line between two points, moved aside (points of the page, square to it), ends marked.
  void dimension(const Vector2& from_mm, const Vector2& to_mm, const Vector2& aside, const std::string& text) const {
    const Vector2 a = on_page(from_mm) + aside, b = on_page(to_mm) + aside;
    const Vector2 tick = aside.normalized() * 4.0;
    cairo_set_line_width(page_, 1.0);
    colour(cut);
    for (const Vector2& end : {a, b}) {
      cairo_move_to(page_, end.x() - tick.x(), end.y() - tick.y());
      cairo_line_to(page_, end.x() + tick.x(), end.y() + tick.y());
    }
    cairo_move_to(page_, a.x(), a.y());
    cairo_line_to(page_, b.x(), b.y());
    cairo_stroke(page_);
    const Vector2 middle = 0.5 * (a + b);
    cairo_text_extents_t extents;
    cairo_select_font_face(page_, "DejaVu Sans", CAIRO_FONT_SLANT_NORMAL, CAIRO_FONT_WEIGHT_NORMAL);
    cairo_set_font_size(page_, 11.0);
    cairo_text_extents(page_, text.c_str(), &extents);
    const bool upright = std::abs(b.y() - a.y()) > std::abs(b.x() - a.x());
    const double x = upright ? (aside.x() > 0.0 ? middle.x() + 6.0 : middle.x() - extents.width - 6.0)
                             : middle.x() - 0.5 * extents.width;
    const double y = upright ? middle.y() + 4.0 : (aside.y() < 0.0 ? middle.y() - 6.0 : middle.y() + 14.0);
    words(x, y, text, 11.0, cut);
  }

 private:
  cairo_t* page_;
  double scale_ = 1.0, left_ = 0.0, base_ = 0.0, top_ = 0.0;
};

// A polygon cut to a box, edge by edge (Sutherland and Hodgman 1974); keeps running-on wood inside its panel.
std::vector<Vector2> clipped(std::vector<Vector2> polygon, const Vector2& low, const Vector2& high) {
  for (int side = 0; side < 4; ++side) {
    const int axis = side % 2;
    const double sign = side < 2 ? 1.0 : -1.0, bound = sign * (side < 2 ? low[axis] : high[axis]);
    std::vector<Vector2> out;
    for (std::size_t i = 0; i < polygon.size(); ++i) {
      const Vector2 &a = polygon[i], &b = polygon[(i + 1) % polygon.size()];
      const double da = sign * a[axis] - bound, db = sign * b[axis] - bound;
      if (da >= 0.0) out.push_back(a);
      if ((da >= 0.0) != (db >= 0.0)) out.push_back(a + (b - a) * (da / (da - db)));
    }
    polygon = std::move(out);
  }
  return polygon;
}

void draw_bevel(cairo_t* page, double top, const Plan& plan) {
  const PlannedBevel& bevel = *plan.bevel;
  const double drop_mm = bevel.drop_mm.nominal;
  const double reach_mm = top_reach_for_drop_mm(drop_mm, bevel.angle_deg.nominal);
  const double far_in_mm = std::max(reach_mm, plan.block ? plan.block->top_mm : 0.0) * 1.12 + 3.0;
  const double far_down_mm = std::max(drop_mm, plan.block ? plan.block->side_mm : 0.0) * 1.12 + 3.0;
  const Panel panel(page, top, {-far_in_mm, -far_down_mm}, {0.0, 0.0});
  panel.title("Bevel at full drop");
  panel.fill({{0.0, -drop_mm}, {0.0, -far_down_mm}, {-far_in_mm, -far_down_mm}, {-far_in_mm, 0.0}, {-reach_mm, 0.0}},
             wood);
  if (plan.block) {
    const double in_mm = plan.block->top_mm, down_mm = plan.block->side_mm;
    const std::vector<Vector2> whole{{0.0, 0.0}, {-in_mm, 0.0}, {-in_mm, -down_mm}, {0.0, -down_mm}};
    // What the bevel leaves of the block.
    std::vector<Vector2> left{
        {0.0, -drop_mm}, {-reach_mm, 0.0}, {-far_in_mm, 0.0}, {-far_in_mm, -far_down_mm}, {0.0, -far_down_mm}};
    panel.fill(clipped(left, {-in_mm, -down_mm}, {0.0, 0.0}), block);
    panel.outline(whole, 1.2, faint, true, true);
  }
  panel.outline({{0.0, -far_down_mm}, {0.0, -drop_mm}, {-reach_mm, 0.0}, {-far_in_mm, 0.0}}, 2.0, ink, false);
  panel.outline({{0.0, -drop_mm}, {0.0, 0.0}, {-reach_mm, 0.0}}, 1.0, faint, false, true);
  panel.dimension({0.0, 0.0}, {0.0, -drop_mm}, {18.0, 0.0}, mm(drop_mm));
  panel.dimension({-reach_mm, 0.0}, {0.0, 0.0}, {0.0, -14.0}, mm(reach_mm));
  const double x = drawing_width + 46.0;
  double y = top + 70.0;
  const auto line = [&](const std::string& text, const Colour& c = ink) {
    panel.words(x, y, text, 12.0, c);
    y += 20.0;
  };
  std::array<char, 64> degrees{};
  std::snprintf(degrees.data(), degrees.size(), "angle inside the wood %.1f°", bevel.angle_deg.nominal);
  line(degrees.data());
  line("drop " + mm(drop_mm));
  line("reach along the top " + mm(reach_mm));
  if (plan.block) line("block (dashed) " + mm(plan.block->top_mm) + " x " + mm(plan.block->side_mm), faint);
  line("dashed corner: wood taken off", faint);
}

void draw_channel(cairo_t* page, double top, const Plan& plan, const PlannedChannel& channel) {
  const SectionShape shape = section_shape(plan, channel, 40.0);
  const CornerAxes& axes = shape.axes;
  const double deepest_mm = channel.steps.front().depth_mm, widest_mm = channel.steps.back().width_mm;
  const double around_mm = 0.45 * std::max(widest_mm, deepest_mm) + 0.6;
  const auto at = [&](double along_mm, double deep_mm) {
    return Vector2(axes.corner + along_mm * axes.along + deep_mm * axes.deep);
  };
  const std::array<Vector2, 3> kept{
      at(0.0, -channel.proud_mm), at(widest_mm + around_mm, deepest_mm + around_mm),
      Vector2(axes.corner + axes.second * ((deepest_mm + 0.5 * around_mm) / axes.second.dot(axes.deep)))};
  Vector2 low = kept[0], high = kept[0];
  for (const Vector2& p : kept) {
    low = low.cwiseMin(p);
    high = high.cwiseMax(p);
  }
  const Panel panel(page, top, low, high);
  panel.title(channel.name + "  (" + std::string(name_of(channel.corner)) + ")");
  const std::vector<Vector2> cut_wood = clipped(shape.wood, low, high);
  panel.fill(cut_wood, wood);
  panel.outline(cut_wood, 1.6, ink, true);
  // The corner before the ledge was cut.
  panel.outline(
      {at(widest_mm, 0.0), axes.corner, Vector2(axes.corner + axes.second * (deepest_mm / axes.second.dot(axes.deep)))},
      1.0, faint, false, true);
  for (std::size_t i = 0; i < shape.strips.size(); ++i) {
    const Colour& c = strip_colours[i % strip_colours.size()];
    panel.fill(shape.strips[i], c);
    panel.outline(shape.strips[i], 0.8, ink, true, channel.strips[i].later);
  }
  // Widths above (or beside) the first face, depths beyond the outermost strip.
  const bool side_first = channel.corner == ChannelCorner::side_bevel;
  for (std::size_t k = 0; k < channel.steps.size(); ++k) {
    const double apart = 16.0 + 22.0 * static_cast<double>(k);
    const Vector2 over = side_first ? Vector2(apart, 0.0) : Vector2(0.0, -apart);
    panel.dimension(at(0.0, -channel.proud_mm), at(channel.steps[k].width_mm, -channel.proud_mm), over,
                    mm(channel.steps[k].width_mm));
  }
  // Depths at each wall, inside the wood.
  for (std::size_t k = 0; k < channel.steps.size(); ++k) {
    const PlannedStep& step = channel.steps[k];
    const double apart = 14.0 + 66.0 * static_cast<double>(channel.steps.size() - 1 - k);
    const Vector2 aside = side_first ? Vector2(0.0, apart * 0.4 + 8.0) : Vector2(-apart, 0.0);
    const double wall_mm = channel.steps.back().width_mm;
    panel.dimension(at(wall_mm, 0.0), at(wall_mm, step.depth_mm), aside, mm(step.depth_mm));
  }
  const double x = drawing_width + 46.0;
  double y = top + 60.0;
  for (std::size_t i = 0; i < channel.strips.size(); ++i) {
    const Colour& c = strip_colours[i % strip_colours.size()];
    cairo_rectangle(page, x, y - 10.0, 12.0, 12.0);
    panel.colour(c);
    cairo_fill_preserve(page);
    panel.colour(ink);
    cairo_set_line_width(page, 0.8);
    cairo_stroke(page);
    panel.words(x + 20.0, y, channel.strips[i].name + (channel.strips[i].later ? " (later)" : ""), 12.0, ink, true);
    panel.words(x + 20.0, y + 16.0,
                mm(channel.strips[i].thickness_mm) + " thick, " + mm(channel.strips[i].height_mm) + " high", 11.0,
                faint);
    y += 40.0;
  }
  for (std::size_t k = 0; k < channel.steps.size(); ++k) {
    panel.words(x, y,
                "step " + std::to_string(k + 1) + ": " + mm(channel.steps[k].width_mm) + " wide, " +
                    mm(channel.steps[k].depth_mm) + " deep",
                12.0, cut);
    y += 20.0;
  }
  panel.words(x, y, "glue " + mm(channel.glue_mm) + ", proud " + mm(channel.proud_mm), 11.0, faint);
}

}  // namespace

std::string draw_sections_svg(const Plan& plan) {
  std::string svg;
  const std::size_t panels = plan.channels.size() + (plan.bevel ? 1 : 0);
  const std::unique_ptr<cairo_surface_t, void (*)(cairo_surface_t*)> surface(
      cairo_svg_surface_create_for_stream(append_to_string, &svg, panel_width,
                                          panel_height * static_cast<double>(std::max<std::size_t>(1, panels))),
      cairo_surface_destroy);
  const std::unique_ptr<cairo_t, void (*)(cairo_t*)> page(cairo_create(surface.get()), cairo_destroy);
  cairo_svg_surface_set_document_unit(surface.get(), CAIRO_SVG_UNIT_PX);
  cairo_set_source_rgb(page.get(), 1.0, 1.0, 1.0);
  cairo_paint(page.get());
  double top = 0.0;
  if (plan.bevel) {
    draw_bevel(page.get(), top, plan);
    top += panel_height;
  }
  for (const PlannedChannel& channel : plan.channels) {
    draw_channel(page.get(), top, plan, channel);
    top += panel_height;
  }
  cairo_surface_finish(surface.get());
  return svg;
}

}  // namespace rimwright
