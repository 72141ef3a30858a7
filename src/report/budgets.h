// The uncertainty budget of each quantity, as read by people: the median station's share by source.
#pragma once

#include <array>
#include <string>
#include <vector>

#include "judge/compare.h"

namespace rimwright {

struct Budget {
  std::string feature;
  std::string quantity;
  bool is_angle = false;  // degrees rather than mm
  std::size_t stations = 0;
  double median_u95 = 0.0;
  double median_degrees_of_freedom = 0.0;
  std::array<double, uncertainty_source_count> median_standard_u{};  // by UncertaintySource
  UncertaintySource largest = UncertaintySource::point_noise;
};

// One for each series that has a measured station, in their order.
[[nodiscard]] std::vector<Budget> budgets_of(const std::vector<JudgedSeries>& judged);

// "mostly the scale of the scan (71 %), then scatter of the scanned points": shares of the variance.
[[nodiscard]] std::string words_for(const Budget& budget);

}  // namespace rimwright
