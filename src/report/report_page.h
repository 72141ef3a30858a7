// report.html: one file that opens offline, for the builder, the client and whoever asks how far to trust it.
//
// The page is built from src/report/page at build time into one template with its scripts and styles inside; here the
// inspection's data go in: numbers as JSON, maps, sections and points quantised to 16 bits in base64. A content-
// security policy allows those scripts and styles by their hashes and nothing else, and no request at all.
#pragma once

#include <string>
#include <string_view>

#include "core/refusal.h"
#include "judge/inspection.h"
#include "report/context.h"

namespace rimwright {

[[nodiscard]] Outcome<std::string> report_page(const Inspection& inspection, const ReportContext& context);
// The same around a heatmap.png that was drawn and results that were written already.
[[nodiscard]] std::string report_page(const Inspection& inspection, const ReportContext& context,
                                      std::string_view heatmap_png_bytes, std::string_view compact_results);

}  // namespace rimwright
