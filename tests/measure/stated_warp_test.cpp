// What never averages out, by hand.
#include <gtest/gtest.h>

#include <cmath>

#include "measure/measure_bevel.h"

namespace rimwright {
namespace {

Measured measured(double value) {
  Measured m;
  m.value = value;
  return m;
}

TEST(CaptureTerms, AStatedWarpStretchesLengthsAndLeansFaces) {
  CaptureTerms terms;
  terms.error.warp_mm = 0.1;
  terms.error.warp_length_mm = 250.0;
  Measured length = measured(-15.0), angle = measured(124.0);
  add_capture_terms(length, terms, true);
  add_capture_terms(angle, terms, false);
  EXPECT_NEAR(length.u(UncertaintySource::capture), 0.006, 1e-12);  // 15 x 0.1 / 250
  EXPECT_NEAR(angle.u(UncertaintySource::capture), degrees_from_radians(std::sqrt(2.0) * 0.0004), 1e-12);
  EXPECT_EQ(length.u(UncertaintySource::scale), 0.0);
}

TEST(CaptureTerms, ErrorOfPatchesAndWarpAddInSquares) {
  CaptureTerms terms;
  terms.error = {.correlated_sigma_mm = 0.03, .correlation_length_mm = 20.0, .warp_mm = 1.0, .warp_length_mm = 250.0};
  Measured length = measured(10.0);
  add_capture_terms(length, terms, true);
  EXPECT_NEAR(length.u(UncertaintySource::capture), 0.05, 1e-12);  // 3, 4 and 5
}

}  // namespace
}  // namespace rimwright
