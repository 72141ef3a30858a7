#include "judge/words.h"

#include <gtest/gtest.h>

namespace rimwright {
namespace {

TEST(Words, LengthsKeepTheUnitsOfThePlan) {
  EXPECT_EQ(length_words(0.4312, LengthUnit::mm), "0.43 mm");
  EXPECT_EQ(length_words(25.4, LengthUnit::inch), "1.000 in");
  EXPECT_EQ(length_words(-0.001, LengthUnit::mm), "0.00 mm");
  EXPECT_EQ(length_words(-0.43, LengthUnit::mm), "-0.43 mm");
}

TEST(Words, PlacesAreWholeMillimetres) {
  EXPECT_EQ(station_words(209.7, LengthUnit::mm), "210 mm");
  EXPECT_EQ(station_words(254.0, LengthUnit::inch), "10.0 in");
  EXPECT_EQ(stretch_words(20.2, 61.4, LengthUnit::mm), "from 20 to 61 mm");
  EXPECT_EQ(stretch_words(20.5, 61.5, LengthUnit::mm), "from 21 to 62 mm");  // halves go up, as in the page
  EXPECT_EQ(stretch_words(207.0, 213.0, LengthUnit::mm), "around 210 mm");
}

TEST(Words, SmallAnglesKeepADigit) {
  EXPECT_EQ(angle_words(1.49), "1.5 deg");
  EXPECT_EQ(angle_words(0.06), "0.06 deg");
}

}  // namespace
}  // namespace rimwright
