#include "tally.h"

#include <algorithm>
#include <boost/math/distributions/binomial.hpp>
#include <cmath>
#include <cstdio>
#include <limits>
#include <numeric>

namespace rimwright {

Bounds clopper_pearson_95(double hits, double trials) {
  using Binomial = boost::math::binomial_distribution<double>;
  const double n = std::floor(trials);
  if (n < 1.0) return {};
  const double k = std::clamp(std::round(hits * n / trials), 0.0, n);
  constexpr double tail = 0.025;
  return {k <= 0.0 ? 0.0 : Binomial::find_lower_bound_on_p(n, k, tail),
          k >= n ? 1.0 : Binomial::find_upper_bound_on_p(n, k, tail)};
}

double ErrorTally::bias() const {
  return std::accumulate(errors.begin(), errors.end(), 0.0) / static_cast<double>(errors.size());
}

double median_of(std::vector<double> values) {
  if (values.empty()) return std::numeric_limits<double>::quiet_NaN();
  const auto middle = values.begin() + static_cast<std::ptrdiff_t>(values.size() / 2);
  std::nth_element(values.begin(), middle, values.end());
  return *middle;
}

void print(const Tally& tally) {
  const auto share = [](std::size_t part, std::size_t whole) {
    return whole > 0 ? 100.0 * static_cast<double>(part) / static_cast<double>(whole) : 0.0;
  };
  std::printf("%zu bodies, %zu refused\n", tally.bodies, tally.refused.size());
  for (const auto& sentence : tally.refused) std::printf("  refused: %s\n", sentence.c_str());
  std::printf("bevel measured at %.1f %% of %zu stations, reported at %zu where there is none\n",
              share(tally.bevel_measured, tally.bevel_true), tally.bevel_true, tally.bevel_false);
  std::printf("steps measured at %.1f %% of %zu stations, reported at %zu where there are none\n\n",
              share(tally.steps_measured, tally.steps_true), tally.steps_true, tally.steps_false);

  std::printf("%-13s %-22s %6s %8s %8s %18s %8s %9s %8s %8s\n", "errors of", "condition", "bodies", "stations", "bias",
              "coverage", "U95", "err/bound", "(own)", "U95/best");
  for (const auto& [quantity, conditions] : tally.errors)
    for (const auto& [condition, row] : conditions) {
      const Bounds bounds = row.coverage_bounds();
      std::printf("%-13s %-22s %6zu %8zu %8.4f %5.3f [%5.3f %5.3f] %8.4f %9.2f %8.2f %8.2f\n", quantity.c_str(),
                  condition.c_str(), row.bodies, row.stations, row.bias(), row.coverage(), bounds.lower, bounds.upper,
                  median_of(row.u95), median_of(row.error_over_bound), median_of(row.error_over_own_bound),
                  median_of(row.u95_over_bound));
    }
  std::printf("\n%-13s %-22s %8s %8s %21s %21s %9s\n", "verdicts of", "condition", "inside", "outside",
              "false pass % (upper)", "false fail % (upper)", "undecided");
  for (const auto& [quantity, conditions] : tally.verdicts)
    for (const auto& [condition, row] : conditions)
      std::printf("%-13s %-22s %8zu %8zu %11.2f (%6.2f) %11.2f (%6.2f) %7.1f %%\n", quantity.c_str(), condition.c_str(),
                  row.inside, row.outside, share(row.false_passes, row.outside), 100.0 * row.false_pass_bounds().upper,
                  share(row.false_fails, row.inside), 100.0 * row.false_fail_bounds().upper,
                  share(row.undecided, row.stations));
}

std::vector<std::string> contradicted(const Tally& tally) {
  std::vector<std::string> found;
  const auto say = [&](const std::string& quantity, const std::string& condition, const char* what, Bounds b) {
    char text[200];
    std::snprintf(text, sizeof text, "%s, %s: %s (95 %% bounds %.3f to %.3f)", quantity.c_str(), condition.c_str(),
                  what, b.lower, b.upper);
    found.emplace_back(text);
  };
  for (const auto& [quantity, conditions] : tally.errors)
    for (const auto& [condition, row] : conditions) {
      const bool all = condition == "all";
      const Bounds bounds = row.coverage_bounds();
      if (bounds.upper < (all ? 0.93 : 0.90)) say(quantity, condition, "U95 covers too little", bounds);
      if (all && bounds.lower > 0.98) say(quantity, condition, "U95 covers too much", bounds);
    }
  for (const auto& [quantity, conditions] : tally.verdicts)
    for (const auto& [condition, row] : conditions) {
      if (condition != "all") continue;
      if (row.false_pass_bounds().lower > 0.025) say(quantity, condition, "false passes", row.false_pass_bounds());
      if (row.false_fail_bounds().lower > 0.025) say(quantity, condition, "false fails", row.false_fail_bounds());
    }
  const Bounds refused =
      clopper_pearson_95(static_cast<double>(tally.refused.size()), static_cast<double>(tally.bodies));
  if (refused.lower > 0.05) say("measuring", "all", "sound scans refused", refused);
  return found;
}

}  // namespace rimwright
