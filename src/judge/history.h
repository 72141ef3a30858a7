// The course of each quantity over the passes of one instrument.
#pragma once

#include <string>
#include <vector>

#include "judge/pass.h"

namespace rimwright {

// One quantity of one feature in one pass, over all its stations. NaN where the pass did not measure it.
struct CoursePoint {
  double median = 0.0, low = 0.0, high = 0.0;  // median, 5 % and 95 % of the stations
  double u95 = 0.0;                            // median of the stations' U95
  std::size_t stations = 0;
};

struct Course {
  std::string feature, quantity;    // "bevel", "angle"
  std::string unit;                 // "deg" or "mm"
  std::vector<CoursePoint> points;  // one a pass, in the order of the passes
};

// Bevel quantities count where the drop is at least nine tenths of the pass's fullest: run-outs say little of a bevel.
[[nodiscard]] std::vector<Course> courses_of(const std::vector<Pass>& passes);

}  // namespace rimwright
