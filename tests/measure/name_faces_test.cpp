// Names of faces on hand-made profiles: what is there is named, what is not stays without a name.
#include "measure/name_faces.h"

#include <gtest/gtest.h>

#include <cmath>

#include "made_rim.h"

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

}  // namespace
}  // namespace rimwright
