// What the page needs beside results.json: maps, sections and points quantised to 16 bits, the plan, the dry fit.
#pragma once

#include <string>
#include <string_view>

#include "judge/inspection.h"
#include "report/context.h"

namespace rimwright {

struct PageData {
  std::string page_json;       // the facts' "page" object
  std::string face_cells;      // little-endian int16 each; -32768 = not measured
  std::string section_points;  // (out, up) pairs
  std::string body_points;     // (x, y, z, deviation)
};

// Bounded whatever the scan: at most 250 000 section points and 120 000 body points, thinned evenly.
[[nodiscard]] PageData page_data(const Inspection& inspection, const ReportContext& context,
                                 std::string_view heatmap_png_bytes);

[[nodiscard]] std::string base64(std::string_view bytes);  // RFC 4648, with padding

}  // namespace rimwright
