// The bounded search against one that tries every beginning.
#include "measure/piece_search.h"

#include <gtest/gtest.h>

#include <random>

namespace rimwright {
namespace {

constexpr double bin_mm = 0.16, price = 14.0;

// Bins of a profile of three straight faces with steps between them, some bins empty, seen through noise.
std::vector<Sums> made_bins(std::size_t count, std::mt19937& random) {
  std::normal_distribution<double> noise(0.0, 0.05);
  std::uniform_real_distribution<double> unit(0.0, 1.0);
  std::vector<Sums> prefix(1);
  for (std::size_t b = 0; b < count; ++b) {
    const double x = (static_cast<double>(b) + 0.5) * bin_mm, third = static_cast<double>(count) * bin_mm / 3.0;
    const double y = (x < third       ? x
                      : x < 2 * third ? third + 0.1 * (x - third)
                                      : 1.1 * third - 0.9 * (x - 2 * third)) +
                     (b % 40 < 5 ? 0.6 : 0.0) + noise(random);
    Sums sums;
    if (unit(random) > 0.1) sums = {300.0, 300.0 * x, 300.0 * y, 300.0 * x * x, 300.0 * x * y, 300.0 * y * y, 20.0};
    prefix.push_back(prefix.back());
    prefix.back() += sums;
  }
  return prefix;
}

TEST(Openings, CheapestIsWhatTryingAllGives) {
  constexpr std::size_t bins = 150;
  const std::array<SlopePrior, lie_count> priors{
      {{1.0, 200.0, 0.45, 2.5}, {-1.0, 200.0, -2.5, -0.45}, {0.1, 70.0, -0.7, 0.7}}};
  const std::array<double, lie_count> shortest_mm{0.30, 0.30, 1.2};
  std::vector<double> borders;
  for (std::size_t b = 0; b <= bins; ++b) borders.push_back(static_cast<double>(b) * bin_mm);
  for (unsigned seed = 1; seed <= 5; ++seed) {
    SCOPED_TRACE(seed);
    std::mt19937 random(seed);
    const std::vector<Sums> prefix = made_bins(bins, random);
    std::vector<States> best(bins + 1);
    best[0][skipped].cost = 0.0;
    Openings openings(prefix, borders);
    openings.open(best[0]);
    std::size_t pieces = 0;
    for (std::size_t end = 1; end <= bins; ++end) {
      for (std::size_t state = 0; state <= skipped; ++state)
        if (best[end - 1][state].cost + 12.0 < best[end][skipped].cost)
          best[end][skipped] = {best[end - 1][state].cost + 12.0, static_cast<std::uint16_t>(end - 1),
                                static_cast<std::uint8_t>(state), 0.0F};
      for (std::size_t lie = 0; lie < lie_count; ++lie) {
        double least = std::numeric_limits<double>::infinity();
        for (std::size_t begin = 0; begin < end; ++begin) {
          if (borders[end] - borders[begin] < shortest_mm[lie] || prefix[end].points - prefix[begin].points < 3)
            continue;
          for (std::size_t state = 0; state <= skipped; ++state)
            if (state != lie)
              least = std::min(
                  least, best[begin][state].cost + price + fit_line(prefix[end] - prefix[begin], priors[lie]).cost);
        }
        // Where it probably begins is a guess, and may be any.
        const std::size_t likely = seed % 2 == 0 ? best[end - 1][lie].from_bin : random() % end;
        const State found = openings.cheapest(lie, end, priors[lie], price, likely);
        // Prefix sums of up to 3e7 hold 4e-9; a piece's residuals are differences of a few of them.
        if (std::isfinite(least)) {
          ASSERT_NEAR(found.cost, least, 1e-7) << lie << ' ' << end;
          ++pieces;
        } else {
          ASSERT_FALSE(std::isfinite(found.cost));
        }
        best[end][lie] = found;
      }
      openings.open(best[end]);
    }
    EXPECT_GT(pieces, bins);
  }
}

}  // namespace
}  // namespace rimwright
