// Text from files on its way into a page.
#pragma once

#include <string>
#include <string_view>

namespace rimwright {

// Safe between tags and inside quoted attributes; control characters and what is not UTF-8 are replaced.
[[nodiscard]] std::string html_text(std::string_view text);

// Style shared by the pages that are plain documents (comparison and history).
[[nodiscard]] const char* plain_page_style();

}  // namespace rimwright
