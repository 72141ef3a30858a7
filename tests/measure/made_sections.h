// Sections made by hand that show nothing but a bevel, with edges in closed form.
#pragma once

#include <cmath>

#include "measure/profile_frame.h"
#include "measure/segment_sections.h"

namespace rimwright::test {

// A bevel from the side, drop_mm below the rim corner, up to the top.
inline SectionPieces bevel_section(double station_mm, double drop_mm, double angle_deg, double cost = 0.0) {
  const double reach_mm = drop_mm * std::tan(radians_from_degrees(180.0 - angle_deg));
  Piece bevel;
  bevel.lie = Lie::sloping;
  bevel.from_along_mm = profile_along(0.0, -drop_mm), bevel.to_along_mm = profile_along(-reach_mm, 0.0);
  const double low = profile_height(0.0, -drop_mm), high = profile_height(-reach_mm, 0.0);
  bevel.slope = (high - low) / (bevel.to_along_mm - bevel.from_along_mm);
  bevel.middle_along_mm = 0.5 * (bevel.from_along_mm + bevel.to_along_mm);
  bevel.middle_height_mm = 0.5 * (low + high);
  return {station_mm, {bevel}, cost};
}

}  // namespace rimwright::test
