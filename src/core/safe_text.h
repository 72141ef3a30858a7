// Text from files and file names on its way to people: pages, pictures, tables, terminals.
#pragma once

#include <cstddef>
#include <string>
#include <string_view>

namespace rimwright {

// UTF-8 without anything a terminal or a page would act on: control characters (C0, DEL, C1) and line separators become
// a space; what is not UTF-8, and what turns the direction of writing round (so that a name reads as another, Unicode
// Technical Report 36), becomes U+FFFD. Cut to `most` characters, with an ellipsis.
[[nodiscard]] std::string safe_text(std::string_view text, std::size_t most = 200);

// The same, with the middle left out where it is longer: the end of a path tells more than its middle.
[[nodiscard]] std::string safe_text_without_middle(std::string_view text, std::size_t most);

}  // namespace rimwright
