// The error a capture shares between neighbouring points reaches lengths and angles.
#include <gtest/gtest.h>

#include "measure/measure_bevel.h"

namespace rimwright {
namespace {

TEST(CaptureTerms, WarpReachesLengthsAndAngles) {
  CaptureTerms terms;
  terms.relative_scale_u = 0.01;
  Measured length, angle;
  length.value = 6.0;
  angle.value = 124.0;
  add_capture_terms(length, terms, true);
  add_capture_terms(angle, terms, false);
  EXPECT_DOUBLE_EQ(length.combined_u(), 0.06);
  EXPECT_DOUBLE_EQ(angle.combined_u(), 0.0);  // a scale does not turn anything
  terms.error = {0.08, 40.0};
  add_capture_terms(length, terms, true);
  add_capture_terms(angle, terms, false);
  EXPECT_DOUBLE_EQ(length.combined_u(), 0.1);      // 0.06 and 0.08
  EXPECT_NEAR(angle.combined_u(), 0.16206, 1e-5);  // sqrt(2) 0.08 / 40 rad, by hand
}

}  // namespace
}  // namespace rimwright
