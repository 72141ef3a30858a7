// Numbers in text: decimal, locale-free, correctly rounded, over a buffer.
#pragma once

#include <charconv>
#include <cstdint>
#include <string_view>
#include <system_error>

namespace rimwright {

[[nodiscard]] inline bool is_blank(char c) { return c == ' ' || c == '\t' || c == '\r' || c == '\v' || c == '\f'; }

inline const char* skip_blanks(const char* at, const char* end) {
  while (at != end && is_blank(*at)) ++at;
  return at;
}

// Parses one number at `at`, which it moves behind it. Decimal numbers of up to 19 digits with a small exponent take
// the exact fast path of Clinger (How to read floating point numbers accurately, PLDI 1990): digits below 2^53 and a
// power of ten below 10^23 are both exact, so one division or multiplication rounds correctly. The rest, and
// 'nan' and 'inf', go to std::from_chars. A number beyond the range of double becomes infinity or zero.
[[nodiscard]] bool parse_number(const char*& at, const char* end, double& value);

// A whole number, digits only, with an optional sign. False on anything else or on overflow.
template <class Integer>
[[nodiscard]] bool parse_integer(std::string_view word, Integer& value) {
  if (!word.empty() && word.front() == '+') word.remove_prefix(1);
  const auto [behind, error] = std::from_chars(word.data(), word.data() + word.size(), value);
  return error == std::errc{} && behind == word.data() + word.size() && !word.empty();
}

// Takes the next word separated by blanks off the front of `line`; empty when none is left.
inline std::string_view take_word(std::string_view& line) {
  const char* end = line.data() + line.size();
  const char* begin = skip_blanks(line.data(), end);
  const char* at = begin;
  while (at != end && !is_blank(*at)) ++at;
  line.remove_prefix(static_cast<std::size_t>(at - line.data()));
  return {begin, static_cast<std::size_t>(at - begin)};
}

// Takes the next number off the front of `line`. False when there is none or it runs on into other text.
[[nodiscard]] inline bool take_number(std::string_view& line, double& value) {
  const char* end = line.data() + line.size();
  const char* at = skip_blanks(line.data(), end);
  if (!parse_number(at, end, value) || (at != end && !is_blank(*at))) return false;
  line.remove_prefix(static_cast<std::size_t>(at - line.data()));
  return true;
}

}  // namespace rimwright
