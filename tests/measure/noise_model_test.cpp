// Noise of known make: white, and correlated with known strength and length.
#include "measure/noise_model.h"

#include <gtest/gtest.h>

#include <array>
#include <cmath>
#include <random>

#include "made_rim.h"
#include "measure/grid_face.h"

namespace rimwright {
namespace {

// A smooth random field of unit variance over (station, t) with covariance exp(-d^2 / (2 l^2)), by random cosines
// (Rahimi, Recht 2007).
class Field {
 public:
  Field(double length_mm, unsigned seed) {
    std::mt19937 random(seed);
    std::normal_distribution<double> frequency(0.0, 1.0 / length_mm);
    std::uniform_real_distribution<double> phase(0.0, 2 * std::numbers::pi);
    for (int k = 0; k < 200; ++k) waves_.push_back({frequency(random), frequency(random), phase(random)});
  }
  [[nodiscard]] double at(double s, double t) const {
    double sum = 0.0;
    for (const auto& w : waves_) sum += std::cos(w[0] * s + w[1] * t + w[2]);
    return sum * std::sqrt(2.0 / static_cast<double>(waves_.size()));
  }

 private:
  std::vector<std::array<double, 3>> waves_;
};

NoiseModel model_of(double white_mm, double correlated_mm, double correlation_mm, unsigned seed) {
  const double length = 300.0;
  const auto profile = [](double) { return test::bevelled_profile(14, 124); };
  const Field side_field(correlation_mm, seed), top_field(correlation_mm, seed + 1000);
  const UnrolledRim rim =
      test::made_rim(length, profile, 4.0, white_mm, seed, [&](double s, std::size_t facet, double t) {
        if (correlated_mm == 0.0) return 0.0;
        return correlated_mm * (facet == 0 ? side_field : top_field).at(s, t);
      });
  Workers workers;
  const FaceTracks tracks = test::bevelled_tracks(length, profile);  // `fitted` points into them
  const FittedRim fitted = fit_faces(rim, tracks, std::hypot(white_mm, correlated_mm), 0.0, {}, workers);
  const FaceGrid side = grid_face(rim, fitted, *fitted.find(FaceName::side), 1.0, 1.0, 1.0, workers);
  const FaceGrid top = grid_face(rim, fitted, *fitted.find(FaceName::top), 1.0, 1.0, 1.0, workers);
  return estimate_noise(side, top, fitted);
}

TEST(NoiseModel, WhiteNoiseIsSeenAndNothingElse) {
  for (const double white : {0.02, 0.1}) {
    const NoiseModel noise = model_of(white, 0.0, 5.0, 3);
    // 4 points/mm2 on 300 mm: more than 20 000 points a face; known to better than 1 %. The gates trim 1 %.
    EXPECT_NEAR(noise.white_sigma_mm, white, 0.02 * white);
    EXPECT_LT(noise.correlated_sigma_mm, 0.15 * white);
  }
}

TEST(NoiseModel, CorrelatedNoiseIsToldFromWhite) {
  for (const double correlation : {3.0, 6.0}) {
    double sum = 0.0, length_sum = 0.0;
    const int seeds = 3;
    for (unsigned seed = 1; seed <= seeds; ++seed) {
      const NoiseModel noise = model_of(0.04, 0.03, correlation, seed);
      sum += noise.correlated_sigma_mm * noise.correlated_sigma_mm / seeds;
      length_sum += noise.correlation_length_mm / seeds;
    }
    // Independent patches of about 2.5 l by 2.5 l: 300 x 25 / 6.25 l^2 of them on each face and seed, so that the
    // variance is known to sqrt(2 / n); the trend taken out and the search up to 24 mm cost up to a fifth more.
    const double patches = 2.0 * seeds * 300.0 * 25.0 / (6.25 * correlation * correlation);
    EXPECT_NEAR(sum / (0.03 * 0.03), 1.0, 3 * std::sqrt(2.0 / patches) + 0.2) << correlation;
    // exp(-d^2 / (2 l^2)) has fallen to 1/e at sqrt(2) l.
    EXPECT_NEAR(length_sum / (std::numbers::sqrt2 * correlation), 1.0, 0.35) << correlation;
  }
}

// A fit over 10 000 points: chance moves its scatter by 3 / sqrt(20 000) = 2 %.
FaceFit fit_that_scatters(double noise_mm, double stated_mm, double step_mm) {
  FaceFit fit;
  fit.measured = true;
  fit.noise_mm = noise_mm;
  fit.stated_sigma_mm = stated_mm;
  fit.step_noise_mm = step_mm;
  fit.degrees_of_freedom = 10'000;
  return fit;
}

TEST(NoiseModel, WhatTheScanSaysOrStepsShowIsNotForm) {
  NoiseModel noise;
  noise.white_sigma_mm = 0.06;
  noise.stated_sigma_mm = 0.08;  // the scan states a third too much, everywhere alike
  EXPECT_EQ(misfit_mm(noise, fit_that_scatters(0.061, 0.08, 0.0)), 0.0);
  // A face seen more steeply, with a third more noise as stated.
  EXPECT_EQ(misfit_mm(noise, fit_that_scatters(0.08, 0.08 * 4.0 / 3.0, 0.0)), 0.0);
  // Noisier than stated, and so from point to point.
  EXPECT_EQ(misfit_mm(noise, fit_that_scatters(0.09, 0.08, 0.09)), 0.0);
  // 0.08 mm about a fit where points scatter 0.06 mm and are stated so: 0.6, 0.8, 1.0.
  EXPECT_NEAR(misfit_mm(noise, fit_that_scatters(0.10, 0.08, 0.06)), 0.08, 1e-9);
}

TEST(NoiseModel, StepsFromPointToPointDoNotHoldTheFacesForm) {
  constexpr double white = 0.04, wave = 0.1;
  const double length = 200.0;
  const auto profile = [](double) { return test::bevelled_profile(14, 124); };
  // One wave across the bevel's 25 mm: no line and no strip's parabola follows it.
  const UnrolledRim rim = test::made_rim(length, profile, 20.0, white, 7, [&](double, std::size_t facet, double t) {
    return facet == 1 ? wave * std::sin(2.0 * std::numbers::pi * t / 25.0) : 0.0;
  });
  Workers workers;
  const FaceTracks tracks = test::bevelled_tracks(length, profile);
  const FittedRim fitted = fit_faces(rim, tracks, white, 0.0, {}, workers);
  const FaceFit& fit = fitted.find(FaceName::bevel)->at[100];
  ASSERT_TRUE(fit.measured);
  EXPECT_GT(fit.noise_mm, 1.3 * white);
  // Steps within a band of 1 mm cross at most 0.1 x 2 pi / 25 = 0.025 mm of the wave: a tenth of the variance. A
  // thousand points tell a scatter to 1 / sqrt(2000), three of which are 7 %.
  EXPECT_NEAR(fit.step_noise_mm, white, 0.1 * white);
}

// Limits in closed form: a correlation much longer than the window shifts the whole face (variance s^2, no slope); one
// much shorter than the window is all but averaged out.
TEST(CorrelatedVariance, Limits) {
  const NoiseModel all_alike{0.02, 0.05, 1e5}, patchy{0.02, 0.05, 0.05};
  const CorrelatedVariance together = correlated_variance(all_alike, 6.0, 20.0);
  EXPECT_NEAR(together.of_height, 0.0025, 1e-5);
  EXPECT_LT(together.of_slope * 400.0, 1e-5);
  EXPECT_LT(correlated_variance(patchy, 6.0, 20.0).of_height, 0.0025 * 0.1);
  EXPECT_EQ(correlated_variance({0.02, 0.0, 0.0}, 6.0, 20.0).of_height, 0.0);
  // More of the face averages more.
  const NoiseModel middling{0.02, 0.05, 5.0};
  double before = 1.0;
  for (const double width : {2.0, 8.0, 20.0, 40.0}) {
    const double now = correlated_variance(middling, 6.0, width).of_height;
    EXPECT_LT(now, before);
    before = now;
  }
}

}  // namespace
}  // namespace rimwright
