#include "judge/words.h"

#include <cmath>
#include <cstdio>

namespace rimwright {
namespace {

constexpr double mm_per_inch = 25.4;

std::string decimals(double value, int digits) {
  char text[64];
  std::snprintf(text, sizeof text, "%.*f", digits, value);
  std::string result = text;
  // A negative number that rounds to nothing is nothing.
  if (result.find_first_not_of("-0.") == std::string::npos && result[0] == '-') result.erase(0, 1);
  return result;
}

std::string station_number(double station_mm, LengthUnit units) {
  // Stations often end in a half, which printf would round to even and the page rounds up.
  return units == LengthUnit::inch ? decimals(station_mm / mm_per_inch, 1) : decimals(std::round(station_mm), 0);
}

const char* unit_word(LengthUnit units) { return units == LengthUnit::inch ? " in" : " mm"; }

}  // namespace

std::string length_words(double length_mm, LengthUnit units) {
  return units == LengthUnit::inch ? decimals(length_mm / mm_per_inch, 3) + " in" : decimals(length_mm, 2) + " mm";
}

std::string angle_words(double angle_deg) { return decimals(angle_deg, std::abs(angle_deg) < 0.1 ? 2 : 1) + " deg"; }

std::string station_words(double station_mm, LengthUnit units) {
  return station_number(station_mm, units) + unit_word(units);
}

std::string stretch_words(double from_mm, double to_mm, LengthUnit units) {
  constexpr double a_place_mm = 10.0;
  if (to_mm - from_mm < a_place_mm) return "around " + station_words((from_mm + to_mm) / 2, units);
  return "from " + station_number(from_mm, units) + " to " + station_words(to_mm, units);
}

}  // namespace rimwright
