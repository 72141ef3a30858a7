#include "core/safe_text.h"

#include <cstdint>
#include <vector>

namespace rimwright {
namespace {

constexpr std::string_view replacement = "\xEF\xBF\xBD";
constexpr std::string_view ellipsis = "\xE2\x80\xA6";

// Length of the character that begins `text` (RFC 3629: no overlong forms, no surrogates, nothing above U+10FFFF);
// 0 where there is none.
std::size_t character_length(std::string_view text) {
  const auto byte = [&](std::size_t i) { return static_cast<unsigned char>(text[i]); };
  const unsigned lead = byte(0);
  const std::size_t length = lead < 0x80                   ? 1
                             : lead >= 0xC2 && lead < 0xE0 ? 2
                             : lead >= 0xE0 && lead < 0xF0 ? 3
                             : lead >= 0xF0 && lead < 0xF5 ? 4
                                                           : 0;
  if (length == 0 || length > text.size()) return 0;
  for (std::size_t k = 1; k < length; ++k) {
    if ((byte(k) & 0xC0U) != 0x80U) return 0;
  }
  if (length == 3 && ((lead == 0xE0 && byte(1) < 0xA0) || (lead == 0xED && byte(1) > 0x9F))) return 0;
  if (length == 4 && ((lead == 0xF0 && byte(1) < 0x90) || (lead == 0xF4 && byte(1) > 0x8F))) return 0;
  return length;
}

std::uint32_t code_point(std::string_view character) {
  if (character.size() == 1) return static_cast<unsigned char>(character[0]);
  std::uint32_t code = static_cast<unsigned char>(character[0]) & (0xFFU >> (character.size() + 1));
  for (const char c : character.substr(1)) code = (code << 6) | (static_cast<unsigned char>(c) & 0x3FU);
  return code;
}

std::string_view shown(std::string_view character) {
  const std::uint32_t code = code_point(character);
  if (code < 0x20 || (code >= 0x7F && code < 0xA0) || code == 0x2028 || code == 0x2029) return " ";
  if ((code >= 0x202A && code <= 0x202E) || (code >= 0x2066 && code <= 0x2069)) return replacement;
  return character;
}

std::vector<std::string_view> safe_characters(std::string_view text, std::size_t most) {
  std::vector<std::string_view> characters;
  while (!text.empty() && characters.size() < most) {
    const std::size_t length = character_length(text);
    characters.push_back(length == 0 ? replacement : shown(text.substr(0, length)));
    text.remove_prefix(length == 0 ? 1 : length);
  }
  return characters;
}

}  // namespace

std::string safe_text(std::string_view text, std::size_t most) {
  const std::vector<std::string_view> characters = safe_characters(text, most + 1);
  std::string safe;
  for (std::size_t i = 0; i < characters.size(); ++i) {
    if (i == most) return safe.append(ellipsis);
    safe.append(characters[i]);
  }
  return safe;
}

std::string safe_text_without_middle(std::string_view text, std::size_t most) {
  const std::vector<std::string_view> characters = safe_characters(text, text.size());
  const bool whole = characters.size() <= most;
  std::string safe;
  for (std::size_t i = 0; i < characters.size(); ++i) {
    if (!whole && i == most / 2) {
      safe.append(ellipsis);
      i = characters.size() - (most - most / 2);
    }
    if (i < characters.size()) safe.append(characters[i]);
  }
  return safe;
}

}  // namespace rimwright
