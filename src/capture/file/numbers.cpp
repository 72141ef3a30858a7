#include "capture/file/numbers.h"

#include <array>
#include <limits>

namespace rimwright {

namespace {

constexpr std::array<double, 23> powers_of_ten = {1e0,  1e1,  1e2,  1e3,  1e4,  1e5,  1e6,  1e7,
                                                  1e8,  1e9,  1e10, 1e11, 1e12, 1e13, 1e14, 1e15,
                                                  1e16, 1e17, 1e18, 1e19, 1e20, 1e21, 1e22};

bool parse_general(const char*& at, const char* end, double& value) {
  const bool negative = at != end && *at == '-';
  const auto [behind, error] = std::from_chars(at, end, value);
  if (error == std::errc::invalid_argument) return false;
  if (error == std::errc::result_out_of_range) {
    // from_chars does not tell overflow from underflow: a negative exponent tells.
    bool small = false;
    for (const char* c = at; c != behind; ++c) {
      if ((*c == 'e' || *c == 'E') && c + 1 != behind) small = c[1] == '-';
    }
    value = small ? 0.0 : std::numeric_limits<double>::infinity();
    if (negative) value = -value;
  }
  at = behind;
  return true;
}

}  // namespace

bool parse_number(const char*& at, const char* end, double& value) {
  const char* c = at;
  if (c != end && *c == '+') {
    ++c;
    if (c != end && *c == '-') return false;
    at = c;
  }
  const bool negative = c != end && *c == '-';
  if (negative) ++c;
  const char* digits_begin = c;
  std::uint64_t digits = 0;
  for (; c != end && *c >= '0' && *c <= '9'; ++c) digits = 10 * digits + static_cast<std::uint64_t>(*c - '0');
  std::ptrdiff_t digit_count = c - digits_begin;
  std::ptrdiff_t fraction_count = 0;
  if (c != end && *c == '.') {
    const char* fraction_begin = ++c;
    for (; c != end && *c >= '0' && *c <= '9'; ++c) digits = 10 * digits + static_cast<std::uint64_t>(*c - '0');
    fraction_count = c - fraction_begin;
    digit_count += fraction_count;
  }
  const bool exponent_follows = c != end && (*c == 'e' || *c == 'E');
  constexpr std::uint64_t exact_limit = std::uint64_t{1} << 53;
  if (digit_count == 0 || digit_count > 19 || exponent_follows || digits > exact_limit || fraction_count > 22) {
    return parse_general(at, end, value);
  }
  value = static_cast<double>(digits) / powers_of_ten[static_cast<std::size_t>(fraction_count)];
  if (negative) value = -value;
  at = c;
  return true;
}

}  // namespace rimwright
