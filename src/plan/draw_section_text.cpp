#include <algorithm>
#include <cmath>
#include <vector>

#include "plan/draw_section.h"
#include "plan/section_shape.h"

namespace rimwright {
namespace {

// Even-odd rule.
bool inside(const std::vector<Vector2>& polygon, const Vector2& p) {
  bool in = false;
  for (std::size_t i = 0, j = polygon.size() - 1; i < polygon.size(); j = i++) {
    const Vector2 &a = polygon[i], &b = polygon[j];
    if ((a.y() > p.y()) != (b.y() > p.y()) && p.x() < (b.x() - a.x()) * (p.y() - a.y()) / (b.y() - a.y()) + a.x())
      in = !in;
  }
  return in;
}

}  // namespace

std::string draw_section_text(const Plan& plan, const PlannedChannel& channel) {
  constexpr double cell_out_mm = 0.3, cell_up_mm = 0.6, margin_mm = 1.5;
  constexpr std::size_t most_cells_across = 160, most_rows = 80;
  const SectionShape shape = section_shape(plan, channel, margin_mm);
  Vector2 low = shape.wood.front(), high = low;
  const auto widen = [&](const std::vector<Vector2>& polygon) {
    for (const Vector2& p : polygon) {
      low = low.cwiseMin(p);
      high = high.cwiseMax(p);
    }
  };
  for (const auto& strip : shape.strips) widen(strip);
  // The wood runs on: show it only `margin_mm` beyond the strips and the walls.
  for (const Vector2& p : shape.wood) {
    const Vector2 from_corner = p - shape.axes.corner;
    const double deepest_mm = channel.steps.front().depth_mm, widest_mm = channel.steps.back().width_mm;
    if (from_corner.dot(shape.axes.along) <= widest_mm + margin_mm + 1e-9 &&
        from_corner.dot(shape.axes.deep) <= deepest_mm + 1e-9) {
      widen({p});
    }
  }
  const auto columns =
      std::min(most_cells_across, static_cast<std::size_t>(std::ceil((high.x() - low.x()) / cell_out_mm)));
  const auto rows = std::min(most_rows, static_cast<std::size_t>(std::ceil((high.y() - low.y()) / cell_up_mm)));
  std::string text;
  for (std::size_t row = 0; row < rows; ++row) {
    std::string line = "    ";
    for (std::size_t column = 0; column < columns; ++column) {
      const Vector2 p(low.x() + (static_cast<double>(column) + 0.5) * cell_out_mm,
                      high.y() - (static_cast<double>(row) + 0.5) * cell_up_mm);
      char cell = inside(shape.wood, p) ? '#' : ' ';
      for (std::size_t i = 0; i < shape.strips.size(); ++i) {
        if (inside(shape.strips[i], p)) cell = static_cast<char>('a' + static_cast<char>(i));
      }
      line += cell;
    }
    line.erase(line.find_last_not_of(' ') + 1);
    text += line + "\n";
  }
  return text;
}

}  // namespace rimwright
