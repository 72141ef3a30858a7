// The course of a bevel through sections made by hand, and what does not lie on it.
#include "measure/bevel_course.h"

#include <gtest/gtest.h>

#include <cmath>

namespace rimwright {
namespace {

// Sections 2 mm apart whose one piece is the bevel, its middle at 5 + 0.4 s + 0.01 s^2 mm below the corner.
std::vector<SectionPieces> a_run_out(std::size_t count) {
  std::vector<SectionPieces> sections(count);
  for (std::size_t i = 0; i < count; ++i) {
    const double s = 2.0 * static_cast<double>(i);
    sections[i].station_mm = s;
    Piece bevel;
    bevel.lie = Lie::sloping;
    bevel.from_along_mm = -4.0, bevel.to_along_mm = 4.0;
    bevel.middle_height_mm = -5.0 - 0.4 * s - 0.01 * s * s;
    sections[i].pieces = {bevel};
  }
  return sections;
}

std::vector<SlopingPiece> first_pieces(const std::vector<SectionPieces>& sections) {
  std::vector<SlopingPiece> pieces;
  for (std::size_t i = 0; i < sections.size(); ++i) pieces.push_back(sloping_piece(sections, i, 0));
  return pieces;
}

TEST(BevelCourse, GoesThroughTheBevel) {
  const auto pieces = first_pieces(a_run_out(9));
  const auto seen = seen_from(8.0, pieces, 0.0);
  EXPECT_EQ(seen.size(), 9u);  // 8 mm each way
  const auto on = most_on_a_course(seen, 0.01);
  ASSERT_EQ(on.size(), 9u);
  const BevelCourse course = course_through(on);
  EXPECT_NEAR(course.offset_mm, -5.0 - 0.4 * 8.0 - 0.01 * 64.0, 1e-9);
  EXPECT_NEAR(course.speed, -0.4 - 0.02 * 8.0, 1e-9);
  EXPECT_NEAR(course.growth_per_mm, -0.02, 1e-9);
}

TEST(BevelCourse, WhatLiesBesideItIsNotBorneOut) {
  auto sections = a_run_out(9);
  sections[8].pieces[0].middle_height_mm += 2.0;  // a ledge beyond the end of the run-out
  const auto pieces = first_pieces(sections);
  const auto seen = seen_from(16.0, pieces, 0.0);
  EXPECT_TRUE(most_on_a_course(seen, 0.4, &pieces[8]).empty());
  const auto last = seen_from(14.0, pieces, 0.0);
  EXPECT_EQ(most_on_a_course(last, 0.4, &pieces[7]).size(), 5u);  // stations 5 to 14 mm but the ledge's
}

TEST(BevelCourse, FourSectionsAreNone) {
  const auto pieces = first_pieces(a_run_out(4));
  EXPECT_TRUE(most_on_a_course(seen_from(4.0, pieces, 0.0), 0.4).empty());
}

TEST(BevelCourse, LongPiecesSayWhatItsSlopeIs) {
  SlopingPiece face, ledges;
  face.slope = -0.2, face.length_mm = 12.0;
  ledges.slope = 0.3, ledges.length_mm = 2.0;
  EXPECT_EQ(common_slope({ledges, ledges, face, ledges}), -0.2);
}

}  // namespace
}  // namespace rimwright
