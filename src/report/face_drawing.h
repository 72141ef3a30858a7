// Draws the unrolled face: colours, contours at the limits, hatch by sign beyond them, station ticks, stretches.
// Shared by heatmap.png, the printed strip and the summary sheet. Cairo stays behind this file and its users.
#pragma once

#include <array>
#include <vector>

#include "judge/inspection.h"
#include "report/contours.h"
#include "report/heat_colours.h"
#include "report/lettering.h"

namespace rimwright {

// A stretch of the face on paper: station `from_mm` lies at x; the upper edge lies towards smaller y.
struct FacePlacement {
  double from_mm = 0.0, to_mm = 0.0;
  double x = 0.0, y = 0.0;     // top left corner of the drawn face, in the surface's unit
  double along_per_mm = 1.0;   // surface units a millimetre along the rim
  double across_per_mm = 1.0;  // and across the face
  double line = 1.0;           // a thin line, in surface units
  double text = 10.0;          // height of text, in surface units
};

[[nodiscard]] double face_height_mm(const UnrolledMap& map);

// The stations between which anything of the face was measured, widened to whole centimetres. Empty (from >= to) for an
// empty map or one whose sizes do not agree.
struct FaceExtent {
  double from_mm = 0.0, to_mm = 0.0;
  [[nodiscard]] double length_mm() const { return to_mm - from_mm; }
  [[nodiscard]] bool is_empty() const { return from_mm >= to_mm; }
};
[[nodiscard]] FaceExtent face_extent(const UnrolledMap& map);

// The face of a map, which must outlive it, made ready to be drawn in one stretch or several.
class FacePicture {
 public:
  FacePicture(const UnrolledMap& map, const HeatScale& scale);
  // The face itself with contours, hatch, frame and ticks each 10 mm below it, numbered each 50 mm.
  void draw(cairo_t* pen, const FacePlacement& place) const;

 private:
  void draw_hatch(cairo_t* pen, const FacePlacement& place) const;
  void draw_contours(cairo_t* pen, const FacePlacement& place) const;

  const UnrolledMap& map_;
  HeatScale scale_;
  bool is_empty_;
  Surface cells_;       // one pixel a cell: the same for all stretches, so that a PDF holds it once
  UnrolledMap smooth_;  // what contours and hatch follow
  std::array<std::vector<Segment>, 2> contours_;
};

// Ticks and their numbers alone, below a face `height` high.
void draw_ticks(cairo_t* pen, const FacePlacement& place, double height);

// Colour bar with zero and the limits marked; `width` and `height` of the bar itself. Text lies below it.
void draw_legend(cairo_t* pen, const HeatScale& scale, LengthUnit units, double x, double y, double width,
                 double height, double text, double line);

}  // namespace rimwright
