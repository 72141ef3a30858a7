// Where stretches begin and end, which are one, and where they are worst: depths without noise.
#include <gtest/gtest.h>

#include <algorithm>
#include <cmath>
#include <cstdio>
#include <functional>
#include <limits>
#include <string>

#include "judge/stretches.h"
#include "made_depths.h"

namespace rimwright {
namespace {

// Depths without noise, a station each millimetre, U95 0.02.
JudgedSeries exact_depths(
    std::size_t count, const std::function<double(double)>& depth,
    const std::function<double(double)>& u95 = [](double) { return 0.02; }) {
  JudgedSeries series = test::depths_to_judge();
  for (std::size_t i = 0; i < count; ++i) {
    const double station_mm = static_cast<double>(i), u95_mm = u95(station_mm);
    test::add_depth(series, depth(station_mm), u95_mm, UncertaintySource::face_form, u95_mm / 1.96);
  }
  return series;
}

// "fail 100 to 126, undecided ..." of depths without noise.
std::string extents(const JudgedSeries& series) {
  std::string text;
  for (const Stretch& stretch : find_stretches(series)) {
    char words[64];
    std::snprintf(words, sizeof words, "%s%s %.2f to %.2f", text.empty() ? "" : ", ",
                  stretch.verdict == Verdict::fail ? (stretch.above ? "high" : "low") : "open", stretch.from_mm,
                  stretch.to_mm);
    text += words;
  }
  return text;
}
// 6 mm deep but for `value` between the stations given, both inclusive.
std::function<double(double)> two_places(double value, double from, double to, double again_from, double again_to) {
  return [=](double s) { return (s >= from && s <= to) || (s >= again_from && s <= again_to) ? value : 6.0; };
}

// Stretches up to 6 mm apart are one; failing ones are so up to 40 mm apart where nothing was measured between them.
// 5.7 crosses the limit of 5.85 halfway to 6.
TEST(StretchExtent, NeighboursAreJoined) {
  EXPECT_EQ(extents(exact_depths(400, two_places(5.7, 100, 110, 116, 126))), "low 99.50 to 126.50");
  EXPECT_EQ(extents(exact_depths(400, two_places(5.7, 100, 110, 117, 127))),
            "low 99.50 to 110.50, low 116.50 to 127.50");
  EXPECT_EQ(extents(exact_depths(400, two_places(5.86, 100, 110, 116, 126))), "open 100.00 to 126.00");
  EXPECT_EQ(extents(exact_depths(400, two_places(5.86, 100, 110, 117, 127))),
            "open 100.00 to 110.00, open 117.00 to 127.00");
  const auto with_a_hole = [](double again) {
    JudgedSeries series = exact_depths(400, two_places(5.7, 100, 110, again, again + 10));
    std::erase_if(series.stations, [&](const JudgedStation& s) { return s.station_mm > 110 && s.station_mm < again; });
    return extents(series);
  };
  EXPECT_EQ(with_a_hole(150), "low 99.50 to 160.50");
  EXPECT_EQ(with_a_hole(151), "low 99.50 to 110.00, low 151.00 to 161.50") << "beside a hole it ends at a station";
  // Where stations are sparse, up to two and a half times as far apart as they are.
  const auto sparse = [](double again) {
    JudgedSeries series = exact_depths(60, two_places(5.7, 25, 27, again, again + 2));
    for (JudgedStation& station : series.stations) station.station_mm *= 4.0;
    return extents(series);
  };
  EXPECT_EQ(sparse(29), "low 98.00 to 126.00") << "8 mm";
  EXPECT_EQ(sparse(30), "low 98.00 to 110.00, low 118.00 to 130.00") << "12 mm";
}

// Between two stations the limit is crossed where the line through their values crosses it: a third of the way from
// 0.05 outside to 0.10 inside. At the rim's ends and where the neighbour has no limit it is the station itself.
TEST(StretchExtent, AStretchEndsWhereTheValuesCrossTheLimit) {
  const auto series = [](double from, double to) {
    return exact_depths(60, [=](double s) { return s >= from && s <= to ? 5.80 : 5.95; });
  };
  EXPECT_EQ(extents(series(20, 30)), "low 19.67 to 30.33");
  EXPECT_EQ(extents(series(0, 30)), "low 0.00 to 30.33");
  EXPECT_EQ(extents(series(20, 58)), "low 19.67 to 58.33");
  EXPECT_EQ(extents(series(20, 59)), "low 19.67 to 59.00");
  JudgedSeries no_limit = series(20, 30);
  for (const std::size_t i : {19U, 31U}) no_limit.stations[i].lower = -std::numeric_limits<double>::infinity();
  EXPECT_EQ(extents(no_limit), "low 20.00 to 30.00");
  EXPECT_EQ(extents(exact_depths(60, [](double s) { return s >= 20 && s <= 30 ? 6.20 : 6.05; })),
            "high 19.67 to 30.33");
  EXPECT_EQ(extents(exact_depths(60, [](double s) { return s < 10   ? 6.5
                                                           : s > 50 ? 5.5
                                                                    : 6.0; })),
            "high 0.00 to 9.70, low 50.30 to 59.00");
}

// It goes on over values hardly outside as long as the mean of three is, which of five such stations the last, beside
// one well inside, is not.
TEST(StretchExtent, AStretchReachesAsFarAsTheMeanOfThreeIsOutside) {
  const auto series = exact_depths(300, [](double s) {
    const double off = std::abs(s - 150.0);
    return off <= 5.0 ? 5.5 : off <= 10.0 ? 5.849 : 6.0;
  });
  EXPECT_EQ(extents(series), "low 141.00 to 159.00");
  EXPECT_EQ(extents(exact_depths(60, [](double s) { return s == 0   ? 5.5
                                                           : s <= 2 ? 5.849
                                                                    : 6.0; })),
            "low 0.00 to 1.00");
  EXPECT_EQ(extents(exact_depths(60, [](double s) { return s == 59   ? 5.5
                                                           : s >= 57 ? 5.849
                                                                     : 6.0; })),
            "low 58.00 to 59.00");
}

// Neither over a station inside the limit nor over a hole of more than 6 mm.
TEST(StretchExtent, AStretchReachesOverNothingElse) {
  EXPECT_EQ(extents(exact_depths(300,
                                 [](double s) {
                                   if (s == 105 || s == 95) return 5.95;
                                   return s > 95 && s < 105 ? 5.5 : s >= 93 && s <= 107 ? 5.83 : 6.0;
                                 })),
            "low 95.22 to 104.78");
  const auto over_a_hole = [](double after) {
    JudgedSeries series = exact_depths(300, [=](double s) {
      return s >= 100 && s <= 104 ? 5.5 : s > 104 && s < after + 3 ? 5.849 : 6.0;
    });
    std::erase_if(series.stations, [=](const JudgedStation& s) { return s.station_mm > 104 && s.station_mm < after; });
    return extents(series);
  };
  EXPECT_EQ(over_a_hole(110), "low 99.30 to 111.00");
  EXPECT_EQ(over_a_hole(111), "low 99.30 to 104.00");
}

TEST(StretchExtent, TheWorstOfAStretchIsItsFarthestOut) {
  for (const double deepest : {100.0, 107.0, 120.0}) {
    const auto stretches = find_stretches(exact_depths(300, [=](double s) {
      if (s < 100 || s > 120) return 6.0;
      return s == deepest ? 5.5 : s == 112 ? 5.55 : 5.6;
    }));
    ASSERT_EQ(stretches.size(), 1U);
    EXPECT_EQ(stretches[0].worst, static_cast<std::size_t>(deepest));
  }
}

// The floor comes back by 2 micrometres a millimetre: over 10 mm on either side it lies within U95 of the limit.
TEST(StretchExtent, ThePassageIntoToleranceBelongsToTheStretch) {
  const JudgedSeries series =
      exact_depths(400, [](double s) { return std::min(6.0, 5.80 + 0.002 * std::abs(s - 200.0)); });
  const std::vector<Stretch> stretches = find_stretches(series);
  ASSERT_EQ(stretches.size(), 1U);
  EXPECT_EQ(stretches[0].verdict, Verdict::fail);
  EXPECT_NEAR(stretches[0].from_mm, 175.0, 1.0);  // where it crosses the limit
  EXPECT_NEAR(stretches[0].to_mm, 225.0, 1.0);
  StretchSettings settings;
  settings.passage_mm = 5.0;  // less than the passage: it is two open stretches then
  EXPECT_EQ(find_stretches(series, settings).size(), 3U);
}

// The worst of what is open is where the interval reaches farthest beyond the limit, not where the value lies nearest.
TEST(StretchExtent, TheWorstOfAnOpenStretchIsWhereItMayBeFarthestOut) {
  const std::vector<Stretch> stretches = find_stretches(exact_depths(
      300, [](double s) { return s > 100 && s < 130 ? (s < 115 ? 5.86 : 5.88) : 6.0; },
      [](double s) { return s == 120.0 ? 0.09 : 0.04; }));
  ASSERT_EQ(stretches.size(), 1U);
  EXPECT_EQ(stretches[0].verdict, Verdict::undecided);
  EXPECT_EQ(stretches[0].worst, 120U);
  EXPECT_FALSE(stretches[0].above);
}

TEST(StretchExtent, EmptySeriesHasNone) { EXPECT_TRUE(find_stretches(JudgedSeries{}).empty()); }

}  // namespace
}  // namespace rimwright
