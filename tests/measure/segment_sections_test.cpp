// Hand-made profiles cut into their pieces.
#include "measure/segment_sections.h"

#include <gtest/gtest.h>

#include <cmath>

#include "made_rim.h"
#include "measure/profile_frame.h"

namespace rimwright {
namespace {

std::vector<SectionPieces> pieces_of(const test::Profile& profile, double density, double noise,
                                     const Expected& expected, unsigned seed = 1) {
  const UnrolledRim rim = test::made_rim(
      40.0, [&](double) { return profile; }, density, noise, seed);
  Workers workers;
  return segment_sections(rim, noise, 0.0, expected, {}, workers);
}

// Pieces longer than `least_mm` across, in order.
std::vector<Piece> main_pieces(const SectionPieces& section, double least_mm) {
  std::vector<Piece> kept;
  for (const Piece& piece : section.pieces)
    if (piece.to_along_mm - piece.from_along_mm > least_mm) kept.push_back(piece);
  return kept;
}

TEST(SegmentSections, SideBevelAndTop) {
  for (const double noise : {0.01, 0.04, 0.1}) {
    const double drop = 14.0, angle = 124.0;
    const auto sections =
        pieces_of(test::bevelled_profile(drop, angle), 12.0, noise, test::expected_bevel(drop, angle));
    ASSERT_GT(sections.size(), 10u);
    for (const auto& section : sections) {
      const auto kept = main_pieces(section, 5.0);
      ASSERT_EQ(kept.size(), 3u) << "noise " << noise << " station " << section.station_mm;
      EXPECT_EQ(kept[0].lie, Lie::upright);
      EXPECT_EQ(kept[1].lie, Lie::sloping);
      EXPECT_EQ(kept[2].lie, Lie::level);
      // The breaks: lower edge (0, -14), upper edge (-reach, 0), to two bins and two noise widths.
      const double reach = drop * -std::tan(radians_from_degrees(angle)), spare = 0.4 + 2 * noise;
      EXPECT_NEAR(kept[0].to_along_mm, profile_along(0, -drop), spare);
      EXPECT_NEAR(kept[1].from_along_mm, profile_along(0, -drop), spare);
      EXPECT_NEAR(kept[1].to_along_mm, profile_along(-reach, 0), spare);
      EXPECT_NEAR(kept[2].from_along_mm, profile_along(-reach, 0), spare);
      EXPECT_NEAR(std::atan(kept[1].slope), std::atan(profile_slope(std::numbers::pi - radians_from_degrees(angle))),
                  0.01 + noise / 10);
    }
  }
}

TEST(SegmentSections, TwoStepLedgeAtTheRim) {
  // Widths 1.85 and 2.5, depths 5.85 and 1.65, cut into the corner of an upright side and a level top.
  const test::Profile ledge{{0, -45}, {0, -5.85}, {-1.85, -5.85}, {-1.85, -1.65}, {-2.5, -1.65}, {-2.5, 0.0}, {-50, 0}};
  Expected expected;
  expected.channels.push_back({ExpectedCorner::top_side, {{1.85, 5.85}, {2.5, 1.65}}});
  const auto sections = pieces_of(ledge, 24.0, 0.03, expected);
  std::size_t complete = 0;
  for (const auto& section : sections) {
    std::size_t next = 0;  // each facet, in order, must be found with its middle on it
    for (std::size_t facet = 0; facet + 1 < ledge.size() && next < section.pieces.size(); ++facet) {
      const Vector2 middle = 0.5 * (ledge[facet] + ledge[facet + 1]);
      const double along = profile_along(middle.x(), middle.y()), height = profile_height(middle.x(), middle.y());
      while (next < section.pieces.size() && section.pieces[next].to_along_mm < along) ++next;
      if (next == section.pieces.size() || section.pieces[next].from_along_mm > along) break;
      EXPECT_EQ(section.pieces[next].lie, facet % 2 == 0 ? Lie::upright : Lie::level);
      EXPECT_NEAR(section.pieces[next].height_at(along), height, 0.06);
      complete += facet + 2 == ledge.size();
    }
  }
  EXPECT_GE(complete, sections.size() * 9 / 10);
}

TEST(SegmentSections, PlainCornerHasTwoFaces) {
  const auto sections = pieces_of({{0, -45}, {0, 0}, {-50, 0}}, 12.0, 0.04, {});
  for (const auto& section : sections) EXPECT_EQ(main_pieces(section, 3.0).size(), 2u) << section.station_mm;
}

TEST(SegmentSections, SameForOneAndTwoThreads) {
  const UnrolledRim rim = test::made_rim(
      40.0, [](double) { return test::bevelled_profile(14, 124); }, 6.0, 0.05, 2);
  Workers one(1), two(2);
  const auto a = segment_sections(rim, 0.05, 0.0, test::expected_bevel(14, 124), {}, one);
  const auto b = segment_sections(rim, 0.05, 0.0, test::expected_bevel(14, 124), {}, two);
  ASSERT_EQ(a.size(), b.size());
  for (std::size_t i = 0; i < a.size(); ++i) {
    ASSERT_EQ(a[i].pieces.size(), b[i].pieces.size());
    for (std::size_t k = 0; k < a[i].pieces.size(); ++k) {
      EXPECT_EQ(a[i].pieces[k].slope, b[i].pieces[k].slope);
      EXPECT_EQ(a[i].pieces[k].middle_height_mm, b[i].pieces[k].middle_height_mm);
    }
  }
}

}  // namespace
}  // namespace rimwright
