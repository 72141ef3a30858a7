// Finds the highest or lowest place of the unrolled face.
#pragma once

#include "measure/measures.h"

namespace rimwright {

// Where the largest signed deviation lies on the unrolled face between two stations. Positive = wood to take off.
struct FacePlace {
  double deviation_mm = 0.0;
  double station_mm = 0.0;
  double across_share = 0.5;                // 0 at the lower edge, 1 at the upper edge of what was measured there
  [[nodiscard]] const char* words() const;  // "near the lower edge", "mid-face", "near the upper edge"
};
// sign > 0 looks for the highest place, sign < 0 for the lowest; false when the map holds nothing there. Cells are
// averaged over 3 x 3 so that one stray cell does not set the number.
[[nodiscard]] bool find_face_place(const UnrolledMap& map, double from_mm, double to_mm, int sign, FacePlace& place);

}  // namespace rimwright
