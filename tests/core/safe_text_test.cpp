#include "core/safe_text.h"

#include <gtest/gtest.h>

namespace rimwright {
namespace {

constexpr const char* replaced = "\xEF\xBF\xBD";

TEST(SafeText, PlainTextStays) {
  EXPECT_EQ(safe_text("Gitarre für Jürgen, 木 \xF0\x9F\x8E\xB8"), "Gitarre für Jürgen, 木 \xF0\x9F\x8E\xB8");
  EXPECT_EQ(safe_text(""), "");
}

TEST(SafeText, ControlCharactersBecomeSpaces) {
  EXPECT_EQ(safe_text("a\x1b[31m\nb\x7f"), "a [31m b ");
  EXPECT_EQ(safe_text(std::string_view("a\0b", 3)), "a b");
  EXPECT_EQ(safe_text("a\xC2\x9B"
                      "31mb"),
            "a 31mb")
      << "the one-character form of ESC [";
  EXPECT_EQ(safe_text("a\u2028b\u2029c"), "a b c");
}

TEST(SafeText, WhatTurnsTheDirectionOfWritingIsReplaced) {
  EXPECT_EQ(safe_text("scan\u202Eylp.exe"), std::string("scan") + replaced + "ylp.exe");
  EXPECT_EQ(safe_text("\u2066a\u2069"), std::string(replaced) + "a" + replaced);
}

// RFC 3629, sections 3 and 10: overlong forms, surrogates, code points above U+10FFFF, lone and missing bytes.
TEST(SafeText, WhatIsNotUtf8IsReplaced) {
  const auto times = [](int count) {
    std::string text;
    for (int i = 0; i < count; ++i) text += replaced;
    return text;
  };
  EXPECT_EQ(safe_text("\xC0\xAF"), times(2));
  EXPECT_EQ(safe_text("\xE0\x80\xAF"), times(3));
  EXPECT_EQ(safe_text("\xED\xA0\x80"), times(3));
  EXPECT_EQ(safe_text("\xF4\x90\x80\x80"), times(4));
  EXPECT_EQ(safe_text("\xF8"), times(1));
  EXPECT_EQ(safe_text("a\xE6\x9C"), "a" + times(2));
  EXPECT_EQ(safe_text("\x80z"), times(1) + "z");
}

TEST(SafeText, LongTextIsCutBetweenCharacters) {
  EXPECT_EQ(safe_text("üüüü", 4), "üüüü");
  EXPECT_EQ(safe_text("üüüü", 3), "üüü…");
  EXPECT_EQ(safe_text("ü", 0), "…");
  EXPECT_EQ(safe_text_without_middle("0123456789", 10), "0123456789");
  EXPECT_EQ(safe_text_without_middle("0123456789", 5), "01…789");
  EXPECT_EQ(safe_text_without_middle("0123456789", 0), "…");
  EXPECT_EQ(safe_text_without_middle("\x1b", 5), " ");
}

}  // namespace
}  // namespace rimwright
