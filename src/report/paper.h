// A PDF in memory, drawn in millimetres.
#pragma once

#include <string>

#include "core/refusal.h"
#include "plan/plan.h"
#include "report/lettering.h"

namespace rimwright {

inline constexpr double points_per_mm = 72.0 / 25.4;

struct PaperSize {
  double width_mm = 210.0;
  double height_mm = 297.0;
};
// A4, or Letter for plans in inches.
[[nodiscard]] PaperSize paper_for(LengthUnit units, bool landscape);

class PdfPages {
 public:
  PdfPages(PaperSize size, const std::string& title);
  [[nodiscard]] cairo_t* pen() { return pen_.get(); }  // unit: mm, origin at the top left
  [[nodiscard]] PaperSize size() const { return size_; }
  void next_page();
  // The bytes; nothing can be drawn afterwards.
  [[nodiscard]] Outcome<std::string> finish();

 private:
  PaperSize size_;
  std::unique_ptr<std::string> bytes_;  // its address is known to the surface
  Surface surface_;
  Pen pen_;
};

// A bar of 100 mm with its words, its left end at (x, y).
void draw_check_bar(cairo_t* pen, double x, double y);

}  // namespace rimwright
