// The page without its data, bundled from src/report/page when the program is built. Places to fill, each once:
// @TITLE@, @PLAIN@ (for browsers without scripts) and @DATA@.
#pragma once

#include <string_view>
#include <vector>

namespace rimwright {

[[nodiscard]] std::vector<std::string_view> page_template_pieces();

}  // namespace rimwright
