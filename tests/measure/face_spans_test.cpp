// Ends of faces in scans of different noise.
#include "measure/face_spans.h"

#include <gtest/gtest.h>

namespace rimwright {
namespace {

// A face from 0 to 10 at every station, seen 5 mm too long at one of them.
std::vector<FaceSpan> with_a_jump() {
  std::vector<FaceSpan> spans(40);
  for (FaceSpan& span : spans) {
    span.present = true;
    span.from_along_mm = 0.0, span.to_along_mm = 10.0;
  }
  spans[20].to_along_mm = 15.0;
  spans[20].from_along_mm = -5.0;
  return spans;
}

TEST(SteadyEnds, AJumpInANoisyScanIsTakenBack) {
  auto spans = with_a_jump();
  steady_ends(spans, 1.0, {});
  for (const FaceSpan& span : spans) {
    EXPECT_TRUE(span.present);
    EXPECT_EQ(span.from_along_mm, 0.0);
    EXPECT_EQ(span.to_along_mm, 10.0);
  }
}

TEST(SteadyEnds, AFineScanIsBelieved) {
  auto spans = with_a_jump();
  steady_ends(spans, 0.04, {});
  EXPECT_EQ(spans[20].to_along_mm, 15.0);
  EXPECT_EQ(spans[20].from_along_mm, -5.0);
}

TEST(SteadyEnds, NoFaceGrowsAndAbsentOnesStayAbsent) {
  auto spans = with_a_jump();
  spans[5].to_along_mm = 7.0;
  spans[30].present = false;
  steady_ends(spans, 1.0, {});
  EXPECT_EQ(spans[5].to_along_mm, 7.0);
  EXPECT_FALSE(spans[30].present);
}

}  // namespace
}  // namespace rimwright
