// The rules of chance: each threshold in closed form, on both sides.
#include <gtest/gtest.h>

#include <cmath>
#include <limits>
#include <string>

#include "judge/stretches.h"
#include "made_depths.h"

namespace rimwright {
namespace {

// Depths that all have one value, with a single source of uncertainty, `count` stations a millimetre apart. They
// alternate by 0.1 nanometre, which tells neighbours to be independent.
JudgedSeries level_depths(std::size_t count, double value, double u, UncertaintySource source) {
  JudgedSeries series = test::depths_to_judge();
  for (std::size_t i = 0; i < count; ++i)
    test::add_depth(series, value + (i % 2 == 0 ? 1e-7 : -1e-7), 1.959964 * u, source, u);
  return series;
}

// The one verdict on all of a series, "pass" for none.
std::string verdict_on(const JudgedSeries& series) {
  const std::vector<Stretch> stretches = find_stretches(series);
  if (stretches.empty()) return "pass";
  EXPECT_EQ(stretches.size(), 1U);
  EXPECT_EQ(stretches[0].from_mm, series.stations.front().station_mm);
  EXPECT_EQ(stretches[0].to_mm, series.stations.back().station_mm);
  return std::string(stretches[0].verdict == Verdict::fail ? "fail " : "undecided ") +
         (stretches[0].above ? "above" : "below");
}

// A single number is judged by its U95 alone (ISO 14253-1), on either side.
TEST(StretchChance, OneNumberFailsBeyondItsU95) {
  const auto verdict = [](double value) { return verdict_on(level_depths(1, value, 0.01, UncertaintySource::scale)); };
  EXPECT_EQ(verdict(5.85 - 0.0197), "fail below");
  EXPECT_EQ(verdict(5.85 - 0.0195), "undecided below");
  EXPECT_EQ(verdict(5.85 + 0.0195), "undecided below");
  EXPECT_EQ(verdict(5.85 + 0.0197), "pass");
  EXPECT_EQ(verdict(6.15 - 0.0195), "undecided above");
  EXPECT_EQ(verdict(6.15 + 0.0195), "undecided above");
  EXPECT_EQ(verdict(6.15 + 0.0197), "fail above");
  EXPECT_EQ(verdict_on(level_depths(1, 5.849, 0.0, UncertaintySource::scale)), "fail below") << "known exactly";
}

// 400 stations are looked at in windows of ten lengths (1, 2, 4, ..., 256 and all), each of which may be wrong on a
// tenth of 2.5 % of bodies. What all stations share is one error: the normal quantile of that, 2.8070, whatever the
// window.
TEST(StretchChance, WhatAllShareFailsBeyondTheQuantileOfAllWindows) {
  for (const UncertaintySource source : {UncertaintySource::scale, UncertaintySource::capture}) {
    const auto verdict = [&](double times_u) {
      return verdict_on(level_depths(400, 5.85 - times_u * 0.01, 0.01, source));
    };
    EXPECT_EQ(verdict(2.80), "undecided below");
    EXPECT_EQ(verdict(2.815), "fail below");
  }
}

// Independent noise shrinks with the root of the stations: over the whole rim, two windows of which fit side by side
// half a length apart, 0.01 mm become 0.01 / 20. Sidak: 1 - (1 - p)^2 = 0.0025 gives p = 0.00125078, a quantile of
// 3.0231. Shorter windows ask for more: 200 stations of 400 alone 0.01 / sqrt(256) at least 3.1.
TEST(StretchChance, NoiseFailsByItsMeanOverTheWholeRim) {
  const auto verdict = [](double times_u) {
    return verdict_on(level_depths(400, 5.85 - times_u * 0.01 / 20.0, 0.01, UncertaintySource::point_noise));
  };
  EXPECT_EQ(verdict(3.01), "undecided below");
  EXPECT_EQ(verdict(3.035), "fail below");
}

// What differs from station to station but does not average out with confidence is a local error of every window: one
// of 400 places in the shortest window, and of the two in the longest, where least is asked for.
TEST(StretchChance, WhatDoesNotAverageOutFailsAsOneStationDoes) {
  for (const UncertaintySource source :
       {UncertaintySource::correlated, UncertaintySource::reference_faces, UncertaintySource::face_form}) {
    const auto verdict = [&](double times_u) {
      return verdict_on(level_depths(400, 5.85 - times_u * 0.01, 0.01, source));
    };
    EXPECT_EQ(verdict(3.01), "undecided below") << name_of(source);
    EXPECT_EQ(verdict(3.035), "fail below") << name_of(source);
  }
}

// Parts of 0.006 and 0.008 mm: over the whole rim the noise is a twentieth of itself, and hypot(0.006, 0.0004) is left.
// Where few degrees of freedom make U95 twice as large, all is.
TEST(StretchChance, OfTwoPartsOnlyTheNoiseShrinks) {
  const auto verdict = [&](UncertaintySource source, double stretched, double times_u) {
    JudgedSeries series = level_depths(400, 5.85 - times_u * stretched * std::hypot(0.006, 0.0004), 0.006, source);
    for (JudgedStation& station : series.stations) {
      station.standard_u[static_cast<std::size_t>(UncertaintySource::point_noise)] = 0.008;
      station.u95 = stretched * 1.959964 * 0.010;
      station.verdict = verdict_of(station.value, station.u95, station.lower, station.upper);
    }
    return verdict_on(series);
  };
  for (const double stretched : {1.0, 2.0}) {
    for (const UncertaintySource source :
         {UncertaintySource::correlated, UncertaintySource::reference_faces, UncertaintySource::face_form}) {
      EXPECT_EQ(verdict(source, stretched, 3.01), "undecided below") << name_of(source);
      EXPECT_EQ(verdict(source, stretched, 3.035), "fail below") << name_of(source);
    }
    // Nearly all in common: the quantile of one place and, for the larger of two noises, 0.56 of their 0.067.
    EXPECT_EQ(verdict(UncertaintySource::capture, stretched, 2.81), "undecided below");
    EXPECT_EQ(verdict(UncertaintySource::capture, stretched, 2.88), "fail below");
  }
}

// Noise of a u of 0.01 mm, drawn as plus and minus 0.008 by turns, 0.05 mm inside the limit, and a run of stations that
// is 0.016 inside it: one such station of 200 is chance (3.4 u), and so are some side by side, but none over more than
// 5 mm or twice the length over which errors stay alike, which is one station here.
TEST(StretchChance, ARunIsAsLongAsItsStationsAreApart) {
  const auto of_a_run = [](std::size_t stations_in_run, double apart_mm) {
    JudgedSeries series = level_depths(200, 5.90, 0.01, UncertaintySource::point_noise);
    for (std::size_t i = 0; i < series.stations.size(); ++i) {
      JudgedStation& station = series.stations[i];
      station.station_mm = apart_mm * static_cast<double>(i);
      station.value = i >= 100 && i < 100 + stations_in_run ? 5.866 : 5.90 + (i % 2 == 0 ? 0.008 : -0.008);
      station.verdict = verdict_of(station.value, station.u95, station.lower, station.upper);
    }
    const std::vector<Stretch> stretches = find_stretches(series);
    if (stretches.empty()) return 0.0;
    EXPECT_EQ(stretches.size(), 1U);
    EXPECT_EQ(stretches[0].verdict, Verdict::undecided);
    EXPECT_EQ(stretches[0].from_mm, 100.0 * apart_mm);
    return stretches[0].to_mm - stretches[0].from_mm;
  };
  EXPECT_EQ(of_a_run(1, 2.0), 0.0);
  EXPECT_EQ(of_a_run(3, 2.0), 0.0) << "4 mm";
  EXPECT_EQ(of_a_run(5, 2.0), 8.0);
  EXPECT_EQ(of_a_run(3, 4.0), 0.0) << "8 mm, twice 4";
  EXPECT_EQ(of_a_run(4, 4.0), 12.0);
}

// Three stations, u 0.01: the largest of three errors lies beyond 2.391 u with a chance of 2.5 % (Sidak), so that the
// middle one may stand out from the mean of the two others, not of all three, by 0.0239 mm.
TEST(StretchChance, AStationStandsOutFromTheOthers) {
  const auto findings = [](double lower_by) {
    JudgedSeries series = level_depths(3, 5.882, 0.01, UncertaintySource::point_noise);
    series.stations[1].value -= lower_by;
    for (JudgedStation& station : series.stations)
      station.verdict = verdict_of(station.value, station.u95, station.lower, station.upper);
    return find_stretches(series).size();
  };
  EXPECT_EQ(findings(0.0236), 0U);
  EXPECT_EQ(findings(0.0242), 1U);
}

// Both neighbours of a doubtful station must pass with what they know together: a shared error of 0.01 mm and noise of
// 0.004 mm, which three alike make sqrt(3 / 2) as large as one's, together 0.01114 with a U95 of 0.0218.
TEST(StretchChance, SurroundingsMustPassWithWhatTheyShare) {
  for (const UncertaintySource source : {UncertaintySource::capture, UncertaintySource::correlated}) {
    const auto findings = [&](double inside) {
      JudgedSeries series = level_depths(3, 5.85 + inside, 0.01, source);
      series.stations[1].value = 5.870;  // 0.001 less than its own U95 inside
      for (JudgedStation& station : series.stations) {
        station.standard_u[static_cast<std::size_t>(UncertaintySource::point_noise)] = 0.004;
        station.u95 = 1.959964 * std::hypot(0.01, 0.004);
        station.verdict = verdict_of(station.value, station.u95, station.lower, station.upper);
      }
      EXPECT_EQ(series.stations[0].verdict, Verdict::pass);
      EXPECT_EQ(series.stations[1].verdict, Verdict::undecided);
      return find_stretches(series).size();
    };
    EXPECT_EQ(findings(0.0221), 0U) << name_of(source);
    EXPECT_EQ(findings(0.0215), 1U) << name_of(source);
  }
}

// A neighbour with a U95 of 2 mm says nothing, and does not take away what the others say.
TEST(StretchChance, ANeighbourThatSaysNothingIsNotHeard) {
  JudgedSeries series = level_depths(4, 5.884, 0.01, UncertaintySource::point_noise);
  series.stations[1].value = 5.862;
  series.stations[3].value = 5.70;
  series.stations[3].standard_u[static_cast<std::size_t>(UncertaintySource::point_noise)] = 1.0;
  series.stations[3].u95 = 1.959964;
  for (JudgedStation& station : series.stations)
    station.verdict = verdict_of(station.value, station.u95, station.lower, station.upper);
  EXPECT_EQ(series.stations[1].verdict, Verdict::undecided);
  EXPECT_EQ(series.stations[3].verdict, Verdict::undecided);
  EXPECT_TRUE(find_stretches(series).empty());
}

// Surroundings are twice as many stations as the run, or they tell nothing.
TEST(StretchChance, ARunNeedsTwiceAsManyAroundIt) {
  const auto findings = [](std::size_t stations, std::size_t low) {
    JudgedSeries series = level_depths(stations, 5.885, 0.01, UncertaintySource::point_noise);
    for (std::size_t i = 1; i <= low; ++i) series.stations[i].value = 5.868;  // 1.7 u lower; 2 to 5 stations allow 2.2
    for (JudgedStation& station : series.stations)
      station.verdict = verdict_of(station.value, station.u95, station.lower, station.upper);
    return find_stretches(series).size();
  };
  EXPECT_EQ(findings(2, 1), 1U);
  EXPECT_EQ(findings(3, 1), 0U);
  EXPECT_EQ(findings(5, 2), 1U);
  EXPECT_EQ(findings(6, 2), 0U);
}

// Where few of 400 stations have a limit, as in a run-out, a window counts while half of its stations do: 4 side by
// side make windows of 4 (200 places) and of 8 (100), whose quantiles at a tenth of 2.5 % are 4.216 and 4.056; 6 make
// one of 8 and none of 16 (50 places, 3.890).
TEST(StretchChance, AWindowIsHalfFullOrNone) {
  const auto verdict = [](std::size_t with_limit, double times_u_of_mean) {
    const double outside = times_u_of_mean * 0.01 / std::sqrt(static_cast<double>(with_limit));
    JudgedSeries series = level_depths(400, 5.85 - outside, 0.01, UncertaintySource::point_noise);
    for (std::size_t i = 0; i < series.stations.size(); ++i) {
      if (i >= 96 && i < 96 + with_limit) continue;
      JudgedStation& station = series.stations[i];
      station.lower = -std::numeric_limits<double>::infinity();
      station.upper = std::numeric_limits<double>::infinity();
      station.verdict = Verdict::pass;
    }
    const std::vector<Stretch> stretches = find_stretches(series);
    return stretches.size() == 1 ? stretches[0].verdict : Verdict::pass;
  };
  EXPECT_EQ(verdict(4, 4.14), Verdict::fail);
  EXPECT_EQ(verdict(4, 4.00), Verdict::undecided);
  EXPECT_EQ(verdict(6, 4.14), Verdict::fail);
  EXPECT_EQ(verdict(6, 3.97), Verdict::undecided);
}

// Five stations `deep_mm` outside the limit, seven 0.005 mm inside, and 388 that alternate by 0.8 u and lie `faint_mm`
// outside on average.
std::vector<Stretch> deep_and_faint(double deep_mm, double faint_mm) {
  JudgedSeries series = level_depths(400, 5.85 + 0.005, 0.01, UncertaintySource::point_noise);
  for (std::size_t i = 0; i < 400; ++i) {
    JudgedStation& station = series.stations[i];
    if (i < 5)
      station.value = 5.85 - deep_mm;
    else if (i >= 12)
      station.value = 5.85 - faint_mm + (i % 2 == 0 ? 0.008 : -0.008);
    station.verdict = verdict_of(station.value, station.u95, station.lower, station.upper);
  }
  std::vector<Stretch> stretches = find_stretches(series);
  EXPECT_EQ(stretches.size(), 2U);
  stretches.resize(2);
  EXPECT_EQ(stretches[0].verdict, Verdict::fail);
  EXPECT_NEAR(stretches[0].to_mm, 4.0, 1.0);
  EXPECT_NEAR(stretches[1].from_mm, stretches[1].verdict == Verdict::fail ? 12.0 : 5.0, 1.0);
  EXPECT_NEAR(stretches[1].to_mm, 399.0, 1.0);
  return stretches;
}

// A deep defect is evidence for itself alone, however deep: the rest, a twentieth of u outside, stays open.
TEST(StretchChance, ADeepDefectDoesNotCondemnItsSurroundings) {
  EXPECT_EQ(deep_and_faint(0.5, 0.0005)[1].verdict, Verdict::undecided);
}

// Nor does it take the evidence of the rest away: less what the seven take, its mean over 395 stations is 3.3 u of that
// mean, which no shorter window shows (256 stations are 2.85 u of theirs).
TEST(StretchChance, BesideADeepDefectTheRestIsJudgedAsAWhole) {
  EXPECT_EQ(deep_and_faint(0.06, 0.00178)[1].verdict, Verdict::fail);
}

}  // namespace
}  // namespace rimwright
