// Ends of faces in scans of different noise.
#include "measure/face_spans.h"

#include <gtest/gtest.h>

#include <algorithm>

#include "measure/profile_frame.h"

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

// A face of a run-out, whose ends both move outwards by `moves_mm` a section; from section 10 on it is 1.5 mm longer at
// either end: before, a channel took so much.
FaceTrack beside_a_channel(double moves_mm) {
  FaceTrack track;
  for (int k = 0; k < 20; ++k) {
    Piece piece;
    const double gone_mm = k < 10 ? 1.5 : 0.0;
    piece.from_along_mm = -10.0 - moves_mm * k + gone_mm;
    piece.to_along_mm = 10.0 + moves_mm * k - gone_mm;
    track.piece.push_back(piece);
    track.present.push_back(1);
  }
  return track;
}

TEST(ClearOfJumps, TheShorterOfTwoEndsCountsForBoth) {
  const FaceTrack track = beside_a_channel(0.2);
  const std::vector<Piece> clear = clear_of_jumps(track, 0.02);
  for (std::size_t k = 0; k < track.piece.size(); ++k) {
    // Section 9 ends at 10.3 and 8 at 10.1, so that 10, whose own end is at 12, counts to 10.3 - 0.2 at least; it is
    // the one section that changes.
    EXPECT_DOUBLE_EQ(clear[k].to_along_mm, k == 10 ? 10.3 + 0.2 : track.piece[k].to_along_mm) << k;
    EXPECT_DOUBLE_EQ(clear[k].from_along_mm, k == 10 ? -10.3 - 0.2 : track.piece[k].from_along_mm) << k;
  }
}

TEST(ClearOfJumps, TheOtherWayRoundTheSame) {
  FaceTrack track = beside_a_channel(0.2);
  std::reverse(track.piece.begin(), track.piece.end());
  const std::vector<Piece> clear = clear_of_jumps(track, 0.02);
  EXPECT_DOUBLE_EQ(clear[9].to_along_mm, 10.3 + 0.2);
  EXPECT_DOUBLE_EQ(clear[9].from_along_mm, -10.3 - 0.2);
  EXPECT_DOUBLE_EQ(clear[8].to_along_mm, track.piece[8].to_along_mm);
}

TEST(ClearOfJumps, AFastRunOutDoesNotJumpAndNoiseMayMoveAnEnd) {
  FaceTrack fast = beside_a_channel(1.2);  // a section
  for (int k = 0; k < 10; ++k) {           // without the channel
    fast.piece[static_cast<std::size_t>(k)].from_along_mm -= 1.5;
    fast.piece[static_cast<std::size_t>(k)].to_along_mm += 1.5;
  }
  const FaceTrack noisy = beside_a_channel(0.2);
  for (std::size_t k = 0; k < 20; ++k) {
    EXPECT_EQ(clear_of_jumps(fast, 0.02)[k].to_along_mm, fast.piece[k].to_along_mm) << k;
    EXPECT_EQ(clear_of_jumps(noisy, 0.3)[k].to_along_mm, noisy.piece[k].to_along_mm) << k;
  }
}

TEST(ClearOfJumps, WhereTheFaceWasNotSeenNothingJumps) {
  FaceTrack track = beside_a_channel(0.2);
  track.present[9] = 0;
  const std::vector<Piece> clear = clear_of_jumps(track, 0.02);
  for (std::size_t k = 0; k < track.piece.size(); ++k) EXPECT_EQ(clear[k].to_along_mm, track.piece[k].to_along_mm) << k;
}

// A wall that a run-out carries inward by 0.8 mm a millimetre: it goes on so to the end of the last section's reach.
TEST(SpansOfTrack, AFaceMovesOnBeyondItsLastSection) {
  constexpr double speed = 0.8;
  FaceTracks tracks;
  FaceTrack wall{FaceName::wall, 0, 0, Lie::upright, {}, {}};
  for (int i = 0; i < 6; ++i) {
    tracks.station_mm.push_back(2.0 * i + 1.0);
    const bool seen = i == 2 || i == 3;
    const double out_mm = -5.0 - speed * tracks.station_mm.back();
    Piece piece;
    // Upright at `out`, from 1.5 to 0.5 mm below the top: height - along is out times the square root of 2.
    piece.slope = 1.0;
    piece.from_along_mm = profile_along(out_mm, -1.5), piece.to_along_mm = profile_along(out_mm, -0.5);
    piece.middle_along_mm = profile_along(out_mm, -1.0);
    piece.middle_height_mm = profile_height(out_mm, -1.0);
    wall.present.push_back(seen ? 1 : 0);
    wall.piece.push_back(piece);
  }
  tracks.tracks.push_back(wall);
  FaceFits face;
  face.track = &tracks.tracks.front();  // along up, its normal outward: the frame of an upright face
  const auto spans = spans_of_track(tracks, face, FacePart::whole, 12, 0.01, {});
  for (std::size_t i = 0; i < spans.size(); ++i) {
    const double station_mm = static_cast<double>(i) + 0.5;
    EXPECT_EQ(spans[i].present, station_mm > 4.0 && station_mm < 8.0) << station_mm;
    if (!spans[i].present) continue;
    EXPECT_NEAR(spans[i].a_mm, -5.0 - speed * station_mm, 1e-9) << station_mm;
    EXPECT_NEAR(spans[i].shift_along, -speed, 1e-9) << station_mm;
  }
}

}  // namespace
}  // namespace rimwright
