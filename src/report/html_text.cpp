#include "report/html_text.h"

#include "core/safe_text.h"
#include "report/face_drawing.h"

namespace rimwright {

std::string html_text(std::string_view text) {
  constexpr std::size_t longest = 4000;
  std::string html;
  for (const char c : safe_text(text, longest)) {
    switch (c) {
      case '&': html += "&amp;"; break;
      case '<': html += "&lt;"; break;
      case '>': html += "&gt;"; break;
      case '"': html += "&quot;"; break;
      case '\'': html += "&#39;"; break;
      default: html += c;
    }
  }
  return html;
}

const char* plain_page_style() {
  return "html{font:18px/1.45 system-ui,\"Noto Sans\",\"DejaVu Sans\",sans-serif;color:#221e1a;background:#fbf8f2}"
         "body{max-width:1080px;margin:0 auto;padding:0 20px 40px;overflow-wrap:anywhere}"
         "h1{font-size:1.5rem}h2{font-size:1.25rem;margin-top:2em}"
         "table{border-collapse:collapse;width:100%;font-variant-numeric:tabular-nums}"
         "th,td{border-bottom:1px solid #cfc6b8;padding:6px 10px;text-align:left;vertical-align:top}"
         "td.number{text-align:right;white-space:nowrap}"
         "img{max-width:100%;background:#fff;border:1px solid #cfc6b8;border-radius:8px}"
         ".lead{font-size:1.25rem;font-weight:600}.soft{color:#574f46;font-size:.9rem}"
         ".fail{color:#8f2a00;font-weight:700}.undecided{color:#5a4300;font-weight:700}.pass{color:#1d5a38;font-weight:"
         "700}";
}

}  // namespace rimwright
