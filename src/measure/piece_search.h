// The search for straight pieces along a section's bins: what a line through some bins costs, and where pieces may
// begin.
#pragma once

#include <algorithm>
#include <array>
#include <cstddef>
#include <cstdint>
#include <limits>
#include <vector>

#include "measure/segment_sections.h"

namespace rimwright {

inline constexpr std::size_t lie_count = 3;  // of Lie; one more state stands for 'skipped'
inline constexpr std::size_t skipped = lie_count;

struct Sums {
  double w = 0, x = 0, y = 0, xx = 0, xy = 0, yy = 0;  // weights: 1 / variance of the bin's mean
  double points = 0;
  Sums& operator+=(const Sums& o) {
    w += o.w, points += o.points, x += o.x, y += o.y, xx += o.xx, xy += o.xy, yy += o.yy;
    return *this;
  }
  friend Sums operator-(Sums a, const Sums& b) {
    a.w -= b.w, a.points -= b.points, a.x -= b.x, a.y -= b.y, a.xx -= b.xx, a.xy -= b.xy, a.yy -= b.yy;
    return a;
  }
};

struct SlopePrior {
  double mean = 0.0;
  double precision = 0.0;  // 1 / variance
  double low = -1e9, high = 1e9;
};

struct LineFit {
  double slope = 0.0;
  double cost = 0.0;
};

// Ridge regression of one piece: squared residuals in standard deviations plus the slope's departure from its prior.
inline LineFit fit_line(const Sums& s, const SlopePrior& prior) {
  const double mean_x = s.x / s.w;
  const double xx = s.xx - s.x * mean_x;
  const double xy = s.xy - s.y * mean_x;
  const double yy = s.yy - s.y * s.y / s.w;
  const double slope =
      std::clamp((xy + prior.precision * prior.mean) / (xx + prior.precision + 1e-12), prior.low, prior.high);
  const double departure = slope - prior.mean;
  return {slope, std::max(0.0, yy - 2 * slope * xy + slope * slope * xx) + prior.precision * departure * departure};
}

// The cheapest way to explain the bins up to one, by what its last bin belongs to.
struct State {
  double cost = std::numeric_limits<double>::infinity();
  std::uint16_t from_bin = 0;
  std::uint8_t from_state = skipped;
  float slope = 0.0F;
};
using States = std::array<State, lie_count + 1>;

// Where pieces may begin, and the cheapest piece that ends somewhere. A piece costs no less with more bins, so what one
// from some opening cost at an earlier end bounds what it costs now: few need a fit at each end.
class Openings {
 public:
  Openings(const std::vector<Sums>& prefix, const std::vector<double>& borders) : prefix_(prefix), borders_(borders) {}

  // All bins up to the next border are explained: pieces may begin there, ended by another lie.
  void open(const States& states) {
    for (std::size_t lie = 0; lie < lie_count; ++lie) {
      Opening opening;
      for (std::size_t state = 0; state <= skipped; ++state)
        if (state != lie && states[state].cost < opening.cost)
          opening = {states[state].cost, static_cast<std::uint8_t>(state)};
      openings_[lie].push_back(opening);
      if (bounds_[lie].size() % block == 0) lowest_[lie].push_back(opening.cost);
      lowest_[lie].back() = std::min(lowest_[lie].back(), opening.cost);
      bounds_[lie].push_back(opening.cost);
    }
  }

  // The cheapest piece of that lie up to `end`. `likely` is where it probably begins: tried first, it spares the
  // others.
  [[nodiscard]] State cheapest(std::size_t lie, std::size_t end, const SlopePrior& prior, double price,
                               std::size_t likely) {
    State best;
    const auto try_from = [&](std::size_t begin) {
      if (!is_piece(begin, end, lie)) return;
      const Opening& opening = openings_[lie][begin];
      const LineFit fit = fit_line(prefix_[end] - prefix_[begin], prior);
      const double cost = opening.cost + price + fit.cost;
      bounds_[lie][begin] = opening.cost + fit.cost;
      // Bins that hold nothing cost nothing: of pieces that cost the same, the shortest.
      if (cost < best.cost || (cost == best.cost && begin > best.from_bin))
        best = {cost, static_cast<std::uint16_t>(begin), opening.from_state, static_cast<float>(fit.slope)};
    };
    try_from(likely);
    constexpr double rounding = 1e-6;
    for (std::size_t b = (end - 1) / block + 1; b-- > 0;) {
      if (!(lowest_[lie][b] + price < best.cost + rounding)) continue;
      double lowest = std::numeric_limits<double>::infinity();
      for (std::size_t begin = std::min(end, (b + 1) * block); begin-- > b * block;) {
        if (bounds_[lie][begin] + price < best.cost + rounding && begin != likely) try_from(begin);
        lowest = std::min(lowest, bounds_[lie][begin]);
      }
      lowest_[lie][b] = lowest;
    }
    return best;
  }

 private:
  struct Opening {
    double cost = std::numeric_limits<double>::infinity();  // of the bins before it
    std::uint8_t from_state = skipped;
  };

  [[nodiscard]] bool is_piece(std::size_t begin, std::size_t end, std::size_t lie) const {
    constexpr std::array<double, lie_count> shortest_mm{0.30, 0.30, 1.2};
    constexpr double fewest_points = 3.0;
    return borders_[end] - borders_[begin] >= shortest_mm[lie] &&
           prefix_[end].points - prefix_[begin].points >= fewest_points;
  }

  static constexpr std::size_t block = 16;  // openings that are passed over at once where none can be the cheapest

  const std::vector<Sums>& prefix_;
  const std::vector<double>& borders_;
  std::array<std::vector<Opening>, lie_count> openings_;  // one a border so far
  std::array<std::vector<double>, lie_count> bounds_;     // no piece from there costs less, its price aside
  std::array<std::vector<double>, lie_count> lowest_;     // of a block's bounds, or less
};

}  // namespace rimwright
