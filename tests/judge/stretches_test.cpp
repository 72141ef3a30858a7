#include "judge/stretches.h"

#include <gtest/gtest.h>

#include <algorithm>
#include <boost/math/distributions/beta.hpp>
#include <cmath>
#include <limits>
#include <random>

namespace rimwright {
namespace {

constexpr double u_noise = 0.010, u_form = 0.006, u_common = 0.004;

// Depths of a channel of 6 mm +-0.15, a station each millimetre, with errors of known covariance: noise that is a
// moving average of `width` stations, a part of its own at each station, and a part common to all.
JudgedSeries depths(std::size_t count, int width, std::mt19937_64& random, double (*truth)(double)) {
  std::normal_distribution<double> normal;
  JudgedSeries series;
  series.feature = "edge binding";
  series.quantity = "step 1 depth";
  series.kind = QuantityKind::step_depth;
  series.nominal = 6.0;
  series.lower = 5.85;
  series.upper = 6.15;
  std::vector<double> white(count + width);
  for (double& v : white) v = normal(random);
  const double common = u_common * normal(random);
  for (std::size_t i = 0; i < count; ++i) {
    double noise = 0.0;
    for (int j = 0; j < width; ++j) noise += white[i + j];
    noise *= u_noise / std::sqrt(static_cast<double>(width));
    JudgedStation station;
    station.station_mm = static_cast<double>(i);
    station.value = truth(station.station_mm) + noise + u_form * normal(random) + common;
    station.standard_u[static_cast<std::size_t>(UncertaintySource::point_noise)] = u_noise;
    station.standard_u[static_cast<std::size_t>(UncertaintySource::face_form)] = u_form;
    station.standard_u[static_cast<std::size_t>(UncertaintySource::scale)] = u_common;
    station.u95 = 1.96 * std::sqrt(u_noise * u_noise + u_form * u_form + u_common * u_common);
    station.lower = series.lower;
    station.upper = series.upper;
    station.verdict = verdict_of(station.value, station.u95, station.lower, station.upper);
    series.stations.push_back(station);
  }
  return series;
}

double clopper_pearson_lower(int events, int trials) {
  return events == 0 ? 0.0
                     : boost::math::quantile(boost::math::beta_distribution<>(events, trials - events + 1), 0.025);
}

// The promise: a body whose true depth lies exactly on the limit everywhere is called out of tolerance on at most 2.5 %
// of scans, whatever the correlation of neighbouring stations.
TEST(Stretches, ABodyOnTheLimitIsNotFailed) {
  constexpr unsigned seed = 4101;
  std::mt19937_64 random(seed);
  for (const int width : {1, 4, 10}) {
    constexpr int trials = 120;
    int failed = 0;
    for (int trial = 0; trial < trials; ++trial) {
      const JudgedSeries series = depths(400, width, random, [](double) { return 5.85; });
      bool fails = false;
      for (const Stretch& stretch : find_stretches(series)) fails = fails || stretch.verdict == Verdict::fail;
      failed += fails;
    }
    EXPECT_LE(clopper_pearson_lower(failed, trials), 0.025)
        << failed << " of " << trials << ", correlated over " << width << " stations, seed " << seed;
  }
}

// A body exactly on its lower limit. Each station has noise that is a moving average of `width` stations; all share one
// error, of `source`.
struct OnTheLimit {
  std::size_t count = 200;
  int width = 1;
  double noise_u = 0.004, shared_u = 0.01;
  UncertaintySource source = UncertaintySource::scale;
  double shared_degrees_of_freedom = std::numeric_limits<double>::infinity();  // behind what is said of shared_u
};

// Lower bound of the share of such bodies that is called out of tolerance.
double share_failed(const OnTheLimit& body, int trials, std::mt19937_64& random) {
  std::normal_distribution<double> normal;
  int failed = 0;
  for (int trial = 0; trial < trials; ++trial) {
    std::vector<double> white(body.count + body.width);
    for (double& v : white) v = normal(random);
    const double shared = body.shared_u * normal(random);
    double stated_u = body.shared_u, k = 1.96;
    if (std::isfinite(body.shared_degrees_of_freedom)) {
      std::chi_squared_distribution<double> chi_squared(body.shared_degrees_of_freedom);
      stated_u *= std::sqrt(chi_squared(random) / body.shared_degrees_of_freedom);
      k = coverage_factor_95(body.shared_degrees_of_freedom);
    }
    JudgedSeries series;
    series.lower = 5.85;
    series.upper = 6.15;
    for (std::size_t i = 0; i < body.count; ++i) {
      double noise = 0.0;
      for (int j = 0; j < body.width; ++j) noise += white[i + j] / std::sqrt(static_cast<double>(body.width));
      JudgedStation station;
      station.station_mm = static_cast<double>(i);
      station.value = 5.85 + body.noise_u * noise + shared;
      station.standard_u[static_cast<std::size_t>(UncertaintySource::point_noise)] = body.noise_u;
      station.standard_u[static_cast<std::size_t>(body.source)] = stated_u;
      station.u95 = k * std::hypot(body.noise_u, stated_u);
      station.lower = series.lower;
      station.upper = series.upper;
      station.verdict = verdict_of(station.value, station.u95, station.lower, station.upper);
      series.stations.push_back(station);
    }
    const std::vector<Stretch> stretches = find_stretches(series);
    failed +=
        std::any_of(stretches.begin(), stretches.end(), [](const Stretch& s) { return s.verdict == Verdict::fail; });
  }
  return clopper_pearson_lower(failed, trials);
}

// Whatever the shared error is called, no number of stations makes it smaller.
TEST(Stretches, WhatStationsShareDoesNotAverageOut) {
  constexpr unsigned seed = 4108;
  SCOPED_TRACE(seed);
  std::mt19937_64 random(seed);
  for (const UncertaintySource source :
       {UncertaintySource::scale, UncertaintySource::capture, UncertaintySource::correlated,
        UncertaintySource::reference_faces, UncertaintySource::face_form}) {
    OnTheLimit body;
    body.source = source;
    EXPECT_LE(share_failed(body, 150, random), 0.025) << name_of(source);
  }
}

// What is known from three degrees of freedom has a U95 of 3.18 standard uncertainties, not 1.96.
TEST(Stretches, FewDegreesOfFreedomMakeEvidenceWeaker) {
  constexpr unsigned seed = 4109;
  SCOPED_TRACE(seed);
  std::mt19937_64 random(seed);
  OnTheLimit body;
  body.count = 1;  // as waviness is
  body.noise_u = 0.0001;
  body.shared_degrees_of_freedom = 3.0;
  EXPECT_LE(share_failed(body, 600, random), 0.025);
}

// Noise alone, so that windows of all lengths have their say: as many chances, and stations that follow one another are
// fewer than they are.
TEST(Stretches, ManyWindowsAndCorrelatedNoiseAreAllowedFor) {
  constexpr unsigned seed = 4110;
  SCOPED_TRACE(seed);
  std::mt19937_64 random(seed);
  for (const int width : {1, 10}) {
    OnTheLimit body;
    body.count = 400;
    body.width = width;
    body.noise_u = 0.01;
    body.shared_u = 1e-5;
    EXPECT_LE(share_failed(body, 400, random), 0.025) << width;
  }
}

// Twice U95 inside the limit: single stations come too near the limit by chance, the body as a whole does not.
TEST(Stretches, ASoundBodyHasNoFinding) {
  constexpr unsigned seed = 4102;
  std::mt19937_64 random(seed);
  int stations_not_passing = 0;
  for (const auto& [width, apart_mm] : {std::pair{1, 1.0}, {4, 1.0}, {10, 1.0}, {10, 2.0}}) {
    constexpr int trials = 120;
    int with_finding = 0;
    for (int trial = 0; trial < trials; ++trial) {
      JudgedSeries series = depths(400, width, random, [](double) { return 5.85 + 2 * 0.0242; });
      for (JudgedStation& station : series.stations) station.station_mm *= apart_mm;
      for (const JudgedStation& station : series.stations) stations_not_passing += station.verdict != Verdict::pass;
      with_finding += !find_stretches(series).empty();
    }
    EXPECT_LE(clopper_pearson_lower(with_finding, trials), 0.025)
        << "correlated over " << width << " stations, " << apart_mm << " mm apart, seed " << seed;
  }
  EXPECT_GT(stations_not_passing, 500) << "the case must hold lone stations to drop";
}

TEST(Stretches, OneDefectIsOneStretchInItsPlace) {
  constexpr unsigned seed = 4103;
  std::mt19937_64 random(seed);
  for (int trial = 0; trial < 50; ++trial) {
    // Floor 0.43 mm high from 120 to 161 mm.
    const JudgedSeries series =
        depths(400, 3, random, [](double s) { return s >= 120.0 && s <= 161.0 ? 6.0 - 0.43 : 6.0; });
    const std::vector<Stretch> stretches = find_stretches(series);
    ASSERT_EQ(stretches.size(), 1U) << "trial " << trial << ", seed " << seed;
    EXPECT_EQ(stretches[0].verdict, Verdict::fail);
    EXPECT_FALSE(stretches[0].above);
    EXPECT_NEAR(stretches[0].from_mm, 120.0, 2.0);
    EXPECT_NEAR(stretches[0].to_mm, 161.0, 2.0);
    EXPECT_NEAR(series.stations[stretches[0].worst].value, 6.0 - 0.43, 4 * std::hypot(u_noise, u_form, u_common));
  }
}

TEST(Stretches, AFaintButLongDefectFailsOnItsCombinedEvidence) {
  constexpr unsigned seed = 4104;
  std::mt19937_64 random(seed);
  // 1.5 U95 outside over 200 mm: few stations would stand out alone.
  const JudgedSeries series = depths(400, 1, random, [](double s) { return s < 200.0 ? 5.85 - 0.036 : 6.0; });
  const std::vector<Stretch> stretches = find_stretches(series);
  ASSERT_FALSE(stretches.empty());
  EXPECT_EQ(stretches[0].verdict, Verdict::fail);
  EXPECT_NEAR(stretches[0].from_mm, 0.0, 5.0);
  EXPECT_NEAR(stretches[0].to_mm, 200.0, 5.0);
}

TEST(Stretches, ATruthOnTheLimitStaysUndecided) {
  constexpr unsigned seed = 4105;
  std::mt19937_64 random(seed);
  const JudgedSeries series = depths(400, 1, random, [](double s) { return s >= 200.0 && s <= 260.0 ? 5.85 : 6.0; });
  const std::vector<Stretch> stretches = find_stretches(series);
  ASSERT_EQ(stretches.size(), 1U) << "seed " << seed;
  EXPECT_EQ(stretches[0].verdict, Verdict::undecided);
  EXPECT_NEAR(stretches[0].from_mm, 200.0, 3.0);
  EXPECT_NEAR(stretches[0].to_mm, 260.0, 3.0);
}

TEST(Stretches, ALocalDefectBeyondChanceIsKept) {
  constexpr unsigned seed = 4106;
  std::mt19937_64 random(seed);
  const JudgedSeries series = depths(400, 1, random, [](double s) { return std::abs(s - 77.0) < 1.5 ? 5.6 : 6.0; });
  const std::vector<Stretch> stretches = find_stretches(series);
  ASSERT_EQ(stretches.size(), 1U);
  EXPECT_EQ(stretches[0].verdict, Verdict::fail);
  EXPECT_NEAR(stretches[0].from_mm, 77.0, 3.0);
}

// A hollow makes its own straightness unsure, by the form that strips beside its edges show. That is no chance, however
// wide it makes the interval: the stretch must not pass.
TEST(Stretches, WhatTheFacesFormMakesUnsureIsNotChance) {
  for (const double k : {1.96, 3.92}) {
    JudgedSeries series;
    series.feature = "bevel";
    series.quantity = "straightness";
    series.kind = QuantityKind::straightness;
    series.lower = -std::numeric_limits<double>::infinity();
    series.upper = 0.2;
    for (int i = 0; i < 160; ++i) {
      const double off = std::abs(i - 80.0), hollow = off < 20.0 ? 0.16 * (1.0 + std::cos(M_PI * off / 20.0)) : 0.0;
      JudgedStation station;
      station.station_mm = i;
      station.value = hollow;
      station.standard_u[static_cast<std::size_t>(UncertaintySource::point_noise)] = 0.006;
      station.standard_u[static_cast<std::size_t>(UncertaintySource::face_form)] = 0.33 * hollow;
      station.u95 = k * std::hypot(0.006, 0.33 * hollow);
      station.lower = series.lower;
      station.upper = series.upper;
      station.verdict = verdict_of(station.value, station.u95, station.lower, station.upper);
      series.stations.push_back(station);
    }
    const std::vector<Stretch> stretches = find_stretches(series);
    ASSERT_EQ(stretches.size(), 1U);
    EXPECT_EQ(stretches[0].verdict, Verdict::undecided);
    EXPECT_LT(stretches[0].from_mm, 80.0);
    EXPECT_GT(stretches[0].to_mm, 80.0);
  }
}

TEST(Stretches, AFailingStretchIsBridgedWhereNothingWasMeasured) {
  constexpr unsigned seed = 4107;
  std::mt19937_64 random(seed);
  JudgedSeries series = depths(400, 1, random, [](double s) { return s > 100 && s < 135 ? 5.5 : 6.0; });
  std::erase_if(series.stations, [](const JudgedStation& s) { return s.station_mm > 105 && s.station_mm < 130; });
  const std::vector<Stretch> stretches = find_stretches(series);
  ASSERT_EQ(stretches.size(), 1U) << "seed " << seed;
  EXPECT_NEAR(stretches[0].from_mm, 100.0, 2.0);
  EXPECT_NEAR(stretches[0].to_mm, 135.0, 2.0);
}

}  // namespace
}  // namespace rimwright
