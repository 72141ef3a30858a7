#include "judge/history.h"

#include <algorithm>
#include <cmath>
#include <limits>
#include <optional>

namespace rimwright {
namespace {

constexpr double nan = std::numeric_limits<double>::quiet_NaN();

double quantile(const std::vector<double>& sorted, double share) {
  return sorted[static_cast<std::size_t>(std::lround(share * static_cast<double>(sorted.size() - 1)))];
}

CoursePoint point_of(std::vector<double> values, std::vector<double> u95) {
  if (values.empty()) return {nan, nan, nan, nan, 0};
  std::sort(values.begin(), values.end());
  std::sort(u95.begin(), u95.end());
  return {quantile(values, 0.5), quantile(values, 0.05), quantile(values, 0.95), u95.empty() ? nan : quantile(u95, 0.5),
          values.size()};
}

const ReportedTable* find_table(const Pass& pass, const std::string& feature) {
  for (const ReportedTable& table : pass.tables) {
    if (table.feature == feature) return &table;
  }
  return nullptr;
}

std::optional<std::size_t> column_of(const ReportedTable& table, const std::string& quantity) {
  const auto found = std::find(table.quantities.begin(), table.quantities.end(), quantity);
  if (found == table.quantities.end()) return std::nullopt;
  return static_cast<std::size_t>(found - table.quantities.begin());
}

// Nine tenths of the fullest drop; minus infinity where drops do not matter or were not measured.
double least_drop(const ReportedTable& table, std::optional<std::size_t> drop_column) {
  double fullest = -std::numeric_limits<double>::infinity();
  if (!drop_column) return fullest;
  for (const ReportedStation& station : table.stations) {
    const Reported& drop = station.quantities[*drop_column];
    if (drop.is_measured()) fullest = std::max(fullest, drop.value);
  }
  return 0.9 * fullest;
}

CoursePoint point_in(const Pass& pass, const std::string& feature, const std::string& quantity) {
  const ReportedTable* table = find_table(pass, feature);
  const auto column = table != nullptr ? column_of(*table, quantity) : std::nullopt;
  if (!column) return point_of({}, {});
  const auto drop_column = feature == "bevel" ? column_of(*table, "drop") : std::nullopt;
  const double least = least_drop(*table, drop_column);
  std::vector<double> values, u95;
  for (const ReportedStation& station : table->stations) {
    const Reported& reported = station.quantities[*column];
    if (!reported.is_measured()) continue;
    if (drop_column && !(station.quantities[*drop_column].value >= least)) continue;
    values.push_back(reported.value);
    if (std::isfinite(reported.u95)) u95.push_back(reported.u95);
  }
  return point_of(std::move(values), std::move(u95));
}

CoursePoint whole(const Reported& reported) {
  if (!reported.is_measured()) return point_of({}, {});
  return {reported.value, reported.value, reported.value, reported.u95, 1};
}

}  // namespace

std::vector<Course> courses_of(const std::vector<Pass>& passes) {
  std::vector<Course> courses;
  const auto known = [&](const std::string& feature, const std::string& quantity) {
    return std::any_of(courses.begin(), courses.end(),
                       [&](const Course& course) { return course.feature == feature && course.quantity == quantity; });
  };
  for (const Pass& pass : passes) {
    for (const ReportedTable& table : pass.tables) {
      for (const std::string& quantity : table.quantities) {
        if (known(table.feature, quantity)) continue;
        Course course{table.feature, quantity, quantity == "angle" ? "deg" : "mm", {}};
        for (const Pass& each : passes) course.points.push_back(point_in(each, table.feature, quantity));
        courses.push_back(std::move(course));
      }
    }
  }
  const auto add_whole = [&](const char* quantity, Reported Pass::*which) {
    Course course{"bevel", quantity, "mm", {}};
    for (const Pass& pass : passes) course.points.push_back(whole(pass.*which));
    courses.push_back(std::move(course));
  };
  add_whole("waviness", &Pass::waviness_mm);
  add_whole("lower edge fairness", &Pass::lower_edge_fairness_mm);
  add_whole("upper edge fairness", &Pass::upper_edge_fairness_mm);
  courses.erase(std::remove_if(courses.begin(), courses.end(),
                               [](const Course& course) {
                                 return std::none_of(course.points.begin(), course.points.end(),
                                                     [](const CoursePoint& point) { return point.stations > 0; });
                               }),
                courses.end());
  return courses;
}

}  // namespace rimwright
