#include "report/budgets.h"

#include <algorithm>
#include <cmath>
#include <cstdio>
#include <numeric>

#include "core/median.h"

namespace rimwright {

std::vector<Budget> budgets_of(const std::vector<JudgedSeries>& judged) {
  std::vector<Budget> budgets;
  for (const JudgedSeries& series : judged) {
    if (series.stations.empty()) continue;
    Budget budget;
    budget.feature = series.feature;
    budget.quantity = series.quantity;
    budget.is_angle = series.kind == QuantityKind::angle;
    budget.stations = series.stations.size();
    std::vector<double> u95, degrees;
    for (const JudgedStation& station : series.stations) {
      u95.push_back(station.u95);
      degrees.push_back(station.degrees_of_freedom);
    }
    budget.median_u95 = median_of(u95);
    budget.median_degrees_of_freedom = median_of(degrees);
    for (std::size_t source = 0; source < uncertainty_source_count; ++source) {
      std::vector<double> shares;
      for (const JudgedStation& station : series.stations) shares.push_back(station.standard_u[source]);
      budget.median_standard_u[source] = median_of(shares);
    }
    budget.largest = static_cast<UncertaintySource>(
        std::max_element(budget.median_standard_u.begin(), budget.median_standard_u.end()) -
        budget.median_standard_u.begin());
    budgets.push_back(std::move(budget));
  }
  return budgets;
}

std::string words_for(const Budget& budget) {
  double total = 0.0;
  for (const double u : budget.median_standard_u) total += u * u;
  if (!(total > 0)) return "no uncertainty stated";
  std::array<std::size_t, uncertainty_source_count> order{};
  std::iota(order.begin(), order.end(), std::size_t{0});
  std::stable_sort(order.begin(), order.end(), [&](std::size_t a, std::size_t b) {
    return budget.median_standard_u[a] > budget.median_standard_u[b];
  });
  const auto share = [&](std::size_t source) {
    return 100.0 * budget.median_standard_u[source] * budget.median_standard_u[source] / total;
  };
  char text[256];
  std::snprintf(text, sizeof text, "mostly %s (%.0f %%)",
                std::string(plain_words_for(static_cast<UncertaintySource>(order[0]))).c_str(), share(order[0]));
  std::string words = text;
  constexpr double worth_saying = 5.0;  // percent
  if (share(order[1]) >= worth_saying) {
    std::snprintf(text, sizeof text, ", then %s (%.0f %%)",
                  std::string(plain_words_for(static_cast<UncertaintySource>(order[1]))).c_str(), share(order[1]));
    words += text;
  }
  return words;
}

}  // namespace rimwright
