#include "capture/file/numbers.h"

#include <gtest/gtest.h>

#include <array>
#include <cmath>
#include <cstdio>
#include <cstdlib>
#include <limits>
#include <random>
#include <string>

namespace rimwright {
namespace {

// The whole text as one number; NaN-boxed failure would hide failures, hence the pair.
std::pair<bool, double> parsed(const std::string& text) {
  const char* at = text.data();
  double value = 0.0;
  const bool fine = parse_number(at, text.data() + text.size(), value) && at == text.data() + text.size();
  return {fine, value};
}

TEST(Numbers, FormsThatAreNumbers) {
  for (const auto& [text, value] : std::initializer_list<std::pair<std::string, double>>{
           {"0", 0.0},
           {"-0.0", -0.0},
           {"+7", 7.0},
           {"12.", 12.0},
           {".5", 0.5},
           {"-.25", -0.25},
           {"1e3", 1000.0},
           {"1E-3", 0.001},
           {"9007199254740993", 9007199254740992.0},  // 2^53 + 1: to even
           {"0.1", 0.1},
           {"123456789.123456789", 123456789.123456789},
           {"0.000000000000000000000000000001", 1e-30},
           {"1e400", std::numeric_limits<double>::infinity()},
           {"-1e400", -std::numeric_limits<double>::infinity()},
           {"1e-400", 0.0}}) {
    const auto [fine, got] = parsed(text);
    EXPECT_TRUE(fine) << text;
    EXPECT_EQ(got, value) << text;
    EXPECT_EQ(std::signbit(got), std::signbit(value)) << text;
  }
  EXPECT_TRUE(std::isnan(parsed("nan").second));
  EXPECT_TRUE(std::isinf(parsed("-inf").second));
}

TEST(Numbers, FormsThatAreNone) {
  for (const std::string text : {"", "-", "+", ".", "+-1", "--1", "1,5", "0x10", "1e", "e5", "one", "1.2.3"}) {
    EXPECT_FALSE(parsed(text).first) << text;
  }
}

// Every number as the C library's own correctly rounded conversion has it.
TEST(Numbers, RoundsCorrectly) {
  constexpr unsigned seed = 17;
  SCOPED_TRACE("seed " + std::to_string(seed));
  std::mt19937_64 random(seed);
  std::uniform_real_distribution<double> place(-1000.0, 1000.0);
  std::uniform_int_distribution<int> digits(0, 17), size(-40, 40);
  for (int i = 0; i < 200'000; ++i) {
    std::array<char, 400> text{};
    const double value = i % 2 == 0 ? place(random) : place(random) * std::pow(10.0, size(random));
    std::snprintf(text.data(), text.size(), i % 3 == 0 ? "%.*g" : "%.*f", digits(random), value);
    const auto [fine, got] = parsed(text.data());
    ASSERT_TRUE(fine) << text.data();
    ASSERT_EQ(got, std::strtod(text.data(), nullptr)) << text.data();
  }
}

TEST(Numbers, WholeNumbers) {
  std::uint64_t value = 0;
  EXPECT_TRUE(parse_integer("18446744073709551615", value));
  EXPECT_EQ(value, std::numeric_limits<std::uint64_t>::max());
  for (const std::string text : {"", "-1", "+-1", "1.0", "18446744073709551616", "1 ", "++1"}) {
    EXPECT_FALSE(parse_integer(text, value)) << text;
  }
}

}  // namespace
}  // namespace rimwright
