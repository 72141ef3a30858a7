#include "capture/photos/edge_spread.h"

#include <algorithm>
#include <array>
#include <cmath>
#include <cstdint>
#include <numbers>
#include <optional>

#include "core/median.h"

namespace rimwright {
namespace {

constexpr double shortest_edge_px = 25.0;
constexpr std::size_t fewest_edges = 6;
constexpr double step_px = 0.5;       // of the profile across an edge
constexpr double reach_share = 0.11;  // of the edge's length each way: a marker begins at an eighth
constexpr double faintest = 20.0;     // grey levels between ink and paper

std::optional<double> grey_at(const Photo& photo, const Vector2& p) {
  if (!(p.x() >= 0.0 && p.y() >= 0.0 && p.x() < photo.width - 1 && p.y() < photo.height - 1)) return std::nullopt;
  const int column = static_cast<int>(p.x()), row = static_cast<int>(p.y());
  const auto value = [&](int dx, int dy) {
    const auto at = static_cast<std::size_t>(row + dy) * static_cast<std::size_t>(photo.width) +
                    static_cast<std::size_t>(column + dx);
    return static_cast<double>(photo.grey[at]);
  };
  const double x = p.x() - column, y = p.y() - row;
  return (1.0 - y) * ((1.0 - x) * value(0, 0) + x * value(1, 0)) + y * ((1.0 - x) * value(0, 1) + x * value(1, 1));
}

// Blur of the step between two corners, from the steepest place of its mean profile: a step of height h blurred by
// sigma rises there by h / (sigma sqrt(2 pi)) a pixel.
std::optional<double> spread_across(const Photo& photo, const Vector2& from, const Vector2& to) {
  if (!grey_at(photo, from) || !grey_at(photo, to)) return std::nullopt;  // kept work may hold any number
  const double length_px = (to - from).norm();
  if (length_px < shortest_edge_px) return std::nullopt;
  const Vector2 along = (to - from) / length_px, across(-along.y(), along.x());
  const int reach = static_cast<int>(reach_share * length_px / step_px);
  constexpr int lines = 9;
  std::vector<double> profile(2 * static_cast<std::size_t>(reach) + 1, 0.0);
  for (int line = 0; line < lines; ++line) {
    const Vector2 middle = from + (0.3 + 0.4 * line / (lines - 1)) * (to - from);
    for (int i = -reach; i <= reach; ++i) {
      const auto grey = grey_at(photo, middle + i * step_px * across);
      if (!grey) return std::nullopt;
      profile[static_cast<std::size_t>(i + reach)] += *grey / lines;
    }
  }
  const double height = std::abs(profile.back() - profile.front());
  if (height < faintest) return std::nullopt;
  double steepest = 0.0;  // grey levels a pixel, over one pixel
  for (std::size_t i = 2; i < profile.size(); ++i) {
    steepest = std::max(steepest, std::abs(profile[i] - profile[i - 2]) / (2.0 * step_px));
  }
  return height / (steepest * std::sqrt(2.0 * std::numbers::pi));
}

}  // namespace

double edge_spread_px(const Photo& photo, const std::vector<TargetCorner>& corners, const ScaleTarget& target) {
  const int columns = target.squares_across - 1;
  std::vector<const TargetCorner*> by_index(static_cast<std::size_t>(target.corner_count()), nullptr);
  for (const TargetCorner& corner : corners) by_index[static_cast<std::size_t>(corner.index)] = &corner;
  std::array<std::vector<double>, 2> spreads;  // of edges along the board's rows, and down its columns
  for (const TargetCorner& corner : corners) {
    const bool last_of_row = (corner.index + 1) % columns == 0;
    const std::array<int, 2> next{last_of_row ? target.corner_count() : corner.index + 1, corner.index + columns};
    for (std::size_t way = 0; way < 2; ++way) {
      if (next[way] >= target.corner_count()) continue;
      const TargetCorner* other = by_index[static_cast<std::size_t>(next[way])];
      if (other == nullptr) continue;
      if (const auto spread = spread_across(photo, corner.pixel, other->pixel)) spreads[way].push_back(*spread);
    }
  }
  double widest = 0.0;
  for (const auto& of_way : spreads) {
    if (of_way.size() < fewest_edges) return 0.0;
    widest = std::max(widest, median_of(of_way));
  }
  return widest;
}

}  // namespace rimwright
