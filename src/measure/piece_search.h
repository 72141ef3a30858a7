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

// What a line through some bins costs: squared residuals in standard deviations, of the best line of any slope and of
// one whose slope departs from its prior at a price (ridge regression).
class LineCost {
 public:
  explicit LineCost(const Sums& s) {
    if (!(s.w > 0.0)) return;
    const double mean_x = s.x / s.w;
    xx_ = s.xx - s.x * mean_x;
    xy_ = s.xy - s.y * mean_x;
    yy_ = s.yy - s.y * (s.y / s.w);
    least_ = std::max(0.0, xx_ > 0.0 ? yy_ - xy_ * xy_ / xx_ : 0.0);
  }
  [[nodiscard]] double least() const { return least_; }
  struct Fit {
    double slope = 0.0;
    double cost = 0.0;
  };
  [[nodiscard]] Fit with(const SlopePrior& prior) const {
    const double slope =
        std::clamp((xy_ + prior.precision * prior.mean) / (xx_ + prior.precision + 1e-12), prior.low, prior.high);
    const double departure = slope - prior.mean;
    return {slope,
            std::max(0.0, yy_ - 2 * slope * xy_ + slope * slope * xx_) + prior.precision * departure * departure};
  }

 private:
  double xx_ = 0.0, xy_ = 0.0, yy_ = 0.0, least_ = 0.0;  // about the means
};

// The cheapest way to explain the bins up to one, by what its last bin belongs to.
struct State {
  double cost = std::numeric_limits<double>::infinity();
  std::uint16_t from_bin = 0;
  std::uint8_t from_state = skipped;
  float slope = 0.0F;
};
using States = std::array<State, lie_count + 1>;

// Where a piece of some lie may begin: what the bins before it cost, ended by another lie.
struct Opening {
  double cost = std::numeric_limits<double>::infinity();
  std::uint8_t from_state = skipped;
};

// The openings that can still be the best for some end (Killick, Fearnhead, Eckley, J. Am. Stat. Assoc. 107 (2012):
// pruned exact search). An opening b is given up once b's cost and the least residuals of its bins up to e reach what
// opening at e costs: from e on no longer piece from b can then win over one from e.
class Openings {
 public:
  Openings(std::size_t bins, const std::vector<Sums>& prefix, const std::vector<double>& borders)
      : prefix_(prefix), borders_(borders), at_(bins + 1), beaten_at_(bins + 1), least_(bins + 1) {}

  // Calls use(lie, begin, opening, line) for all pieces that may end at `end`, the shortest first.
  template <class Use>
  void for_each(std::size_t end, const Use& use) {
    std::erase_if(active_, [&](std::uint16_t begin) {
      bool is_over = true;
      for (std::size_t lie = 0; lie < lie_count; ++lie) is_over = is_over && is_beaten(lie, begin, end);
      return is_over;
    });
    for (auto active = active_.rbegin(); active != active_.rend(); ++active) {
      const std::size_t begin = *active;
      const LineCost line(prefix_[end] - prefix_[begin]);
      least_[begin] = line.least();
      for (std::size_t lie = 0; lie < lie_count; ++lie)
        if (is_piece(begin, end, lie) && !is_beaten(lie, begin, end)) use(lie, begin, at_[begin][lie], line);
    }
  }

  // All bins up to `bin` are explained, by the pieces that for_each gave: others may begin there.
  void open(std::size_t bin, const States& states) {
    for (std::size_t lie = 0; lie < lie_count; ++lie) {
      Opening& opening = at_[bin][lie];
      for (std::size_t state = 0; state <= skipped; ++state)
        if (state != lie && states[state].cost < opening.cost)
          opening = {states[state].cost, static_cast<std::uint8_t>(state)};
      for (const std::uint16_t begin : active_) {
        constexpr double rounding = 1e-6;
        std::uint16_t& beaten_at = beaten_at_[begin][lie];
        if (beaten_at == 0 && at_[begin][lie].cost + least_[begin] >= opening.cost + rounding)
          beaten_at = static_cast<std::uint16_t>(bin);
      }
    }
    active_.push_back(static_cast<std::uint16_t>(bin));
  }

 private:
  [[nodiscard]] bool is_piece(std::size_t begin, std::size_t end, std::size_t lie) const {
    constexpr std::array<double, lie_count> shortest_mm{0.30, 0.30, 1.2};
    constexpr double fewest_points = 3.0;
    return borders_[end] - borders_[begin] >= shortest_mm[lie] &&
           prefix_[end].points - prefix_[begin].points >= fewest_points;
  }
  [[nodiscard]] bool is_beaten(std::size_t lie, std::size_t begin, std::size_t end) const {
    return beaten_at_[begin][lie] != 0 && is_piece(beaten_at_[begin][lie], end, lie);
  }

  const std::vector<Sums>& prefix_;
  const std::vector<double>& borders_;
  std::vector<std::array<Opening, lie_count>> at_;
  std::vector<std::array<std::uint16_t, lie_count>> beaten_at_;  // 0: not yet
  std::vector<double> least_;          // residuals from each active opening up to the last end
  std::vector<std::uint16_t> active_;  // ascending
};

}  // namespace rimwright
