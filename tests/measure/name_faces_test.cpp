// Names of faces on hand-made profiles: what is there is named, what is not stays without a name.
#include "measure/name_faces.h"

#include <gtest/gtest.h>

#include <cmath>
#include <numbers>

#include "made_rim.h"
#include "measure/profile_frame.h"

namespace rimwright {
namespace {

constexpr double noise_mm = 0.03;

FaceTracks named(const test::Profile& profile, const Expected& expected) {
  const UnrolledRim rim = test::made_rim(
      40.0, [&](double) { return profile; }, 20.0, noise_mm, 1);
  Workers workers;
  return name_faces(segment_sections(rim, noise_mm, 0.0, expected, {}, workers), rim, noise_mm, 0.0, expected, {});
}

double share_present(const FaceTrack* track) {
  if (track == nullptr || track->present.empty()) return 0.0;
  double sum = 0.0;
  for (const char present : track->present) sum += present ? 1.0 : 0.0;
  return sum / static_cast<double>(track->present.size());
}

test::Profile ledge(double width, double depth) {
  return {{0, -45}, {0, -depth}, {-width, -depth}, {-width, 0.0}, {-50, 0}};
}

Expected expected_ledge(double width, double depth) {
  Expected expected;
  expected.channels.push_back({ExpectedCorner::top_side, {{width, depth}}});
  return expected;
}

TEST(NameFaces, SideTopAndBevel) {
  const FaceTracks tracks = named(test::bevelled_profile(14, 124), test::expected_bevel(14, 124));
  for (const FaceName name : {FaceName::side, FaceName::top, FaceName::bevel})
    EXPECT_GT(share_present(tracks.find(name)), 0.95) << static_cast<int>(name);
}

TEST(NameFaces, NoBevelWhereThereIsNone) {
  const FaceTracks tracks = named({{0, -45}, {0, 0}, {-50, 0}}, test::expected_bevel(14, 124));
  EXPECT_EQ(share_present(tracks.find(FaceName::bevel)), 0.0);
  EXPECT_GT(share_present(tracks.find(FaceName::side)), 0.95);
  EXPECT_GT(share_present(tracks.find(FaceName::top)), 0.95);
}

TEST(NameFaces, FloorAndWallOfALedge) {
  const FaceTracks tracks = named(ledge(1.85, 5.85), expected_ledge(1.85, 5.85));
  EXPECT_GT(share_present(tracks.find(FaceName::floor, 0, 0)), 0.9);
  EXPECT_GT(share_present(tracks.find(FaceName::wall, 0, 0)), 0.9);
}

TEST(NameFaces, ALedgeCutAMillimetreWrongKeepsItsName) {
  for (const double off : {-1.0, 1.0}) {
    const FaceTracks tracks = named(ledge(2.5, 5.0 + off), expected_ledge(2.5, 5.0));
    EXPECT_GT(share_present(tracks.find(FaceName::floor, 0, 0)), 0.9) << off;
    EXPECT_GT(share_present(tracks.find(FaceName::wall, 0, 0)), 0.9) << off;
  }
}

TEST(NameFaces, NoLedgeWhereThereIsNone) {
  const FaceTracks tracks = named({{0, -45}, {0, 0}, {-50, 0}}, expected_ledge(1.85, 5.85));
  EXPECT_EQ(share_present(tracks.find(FaceName::floor, 0, 0)), 0.0);
  EXPECT_EQ(share_present(tracks.find(FaceName::wall, 0, 0)), 0.0);
}

// In a noisy scan a small ledge blurs into the bevel's piece; what it takes of the face is left out all the same.
TEST(NameFaces, ABlurredLedgeDoesNotBendTheBevel) {
  constexpr double width = 2.0, depth = 1.6, drop = 12.0, angle_deg = 120.0, coarse_noise_mm = 0.7;
  const double off_upright = radians_from_degrees(180.0 - angle_deg);
  // From the ledge's wall in the side up its floor to where the bevel begins.
  const Vector2 begins(-depth, -drop + depth / std::tan(off_upright));
  const Vector2 ends(-drop * std::tan(off_upright), 0.0);
  const test::Profile profile{{0, -45}, {0, -drop - width}, {-depth, -drop - width}, begins, ends, {-60, 0}};
  Expected expected = test::expected_bevel(drop, angle_deg);
  expected.channels.push_back({ExpectedCorner::side_bevel, {{width, depth}}});
  // Where the side ends is seen to a bin of 0.7 mm, and by chance to three of them.
  constexpr double spare_mm = 3 * 0.7;
  std::size_t pieces = 0, swallowed = 0;
  for (unsigned seed = 1; seed <= 4; ++seed) {
    const UnrolledRim rim = test::made_rim(
        60.0, [&](double) { return profile; }, 15.0, coarse_noise_mm, seed);
    Workers workers;
    const auto sections = segment_sections(rim, coarse_noise_mm, 0.0, expected, {}, workers);
    const FaceTracks tracks = name_faces(sections, rim, coarse_noise_mm, 0.0, expected, {});
    const FaceTrack& bevel = *tracks.find(FaceName::bevel);
    const double begins_along = (begins.y() - begins.x()) / std::numbers::sqrt2;
    for (std::size_t i = 0; i < bevel.present.size(); ++i) {
      if (!bevel.present[i]) continue;
      ++pieces;
      for (const Piece& piece : sections[i].pieces)
        swallowed += piece.lie == Lie::sloping && piece.from_along_mm < begins_along - spare_mm;
      EXPECT_GT(bevel.piece[i].from_along_mm, begins_along - spare_mm) << "seed " << seed << ", section " << i;
    }
  }
  EXPECT_GT(pieces, 60u);
  EXPECT_GT(swallowed, 0u);  // what is left out is there
}

// Sections of a run-out that comes up at 0.4 mm a millimetre; beyond its end, and in its last section beside it and
// longer, ledges that pass for a bevel, one here and one there.
TEST(NameFaces, WhatLiesOffTheBevelsCourseIsNoBevel) {
  const Expected expected = test::expected_bevel(14, 124);
  const UnrolledRim rim = test::made_rim(
      60.0, [](double) { return test::bevelled_profile(14, 124); }, 1.0, noise_mm, 1);
  const double slope = profile_slope(radians_from_degrees(180.0 - 124.0));
  const auto piece = [](Lie lie, double from, double to, double height_at_0, double of_slope) {
    return Piece{lie, from, to, 0.5 * (from + to), height_at_0 + of_slope * 0.5 * (from + to), of_slope, 100.0};
  };
  std::vector<SectionPieces> sections(30);
  constexpr std::size_t last = 19;
  for (std::size_t i = 0; i < sections.size(); ++i) {
    sections[i].station_mm = 2.0 * static_cast<double>(i) + 1.0;
    const double cut_mm = 4.0 + 0.4 * (39.0 - sections[i].station_mm);
    auto& pieces = sections[i].pieces;
    pieces.push_back(piece(Lie::upright, -40.0, -9.0, 0.0, 1.0));
    if (i >= last && i < last + 4) pieces.push_back(piece(Lie::sloping, -8.0, -3.0, i % 2 == 0 ? -10.0 : -13.0, slope));
    if (i <= last) pieces.push_back(piece(Lie::sloping, -2.0, 2.0, -cut_mm, slope));
    pieces.push_back(piece(Lie::level, 9.0, 40.0, 0.0, -1.0));
  }
  const FaceTracks tracks = name_faces(sections, rim, noise_mm, 0.0, expected, {});
  const FaceTrack& bevel = *tracks.find(FaceName::bevel);
  for (std::size_t i = 0; i <= last; ++i) {
    ASSERT_TRUE(bevel.present[i]) << i;
    EXPECT_EQ(bevel.piece[i].from_along_mm, -2.0) << i;
  }
  for (std::size_t i = last + 1; i < sections.size(); ++i) EXPECT_FALSE(bevel.present[i]) << i;
}

}  // namespace
}  // namespace rimwright
