// The Gaussian profile filter against ISO 16610-21: transmission exp(-pi (alpha lc / l)^2), alpha = sqrt(ln 2 / pi).
#include "measure/gaussian_filter.h"

#include <gtest/gtest.h>

#include <cmath>
#include <numbers>

namespace rimwright {
namespace {

constexpr double step_mm = 0.25, cutoff_mm = 8.0;

std::vector<double> sine(double wavelength_mm, double amplitude_mm, double length_mm, double phase = 0.3) {
  std::vector<double> profile;
  for (double x = 0.0; x < length_mm; x += step_mm)
    profile.push_back(amplitude_mm * std::sin(2 * std::numbers::pi * x / wavelength_mm + phase));
  return profile;
}

// Ratio of what comes out to what goes in, by projection, clear of the ends.
double transmitted(const std::vector<double>& in, const std::vector<double>& out, double clear_mm) {
  double product = 0.0, square = 0.0;
  const auto clear = static_cast<std::size_t>(clear_mm / step_mm);
  for (std::size_t i = clear; i + clear < in.size(); ++i) product += in[i] * out[i], square += in[i] * in[i];
  return product / square;
}

TEST(GaussianFilter, TransmissionTable) {
  const double alpha = std::sqrt(std::numbers::ln2 / std::numbers::pi);
  for (const double ratio : {4.0, 2.0, 1.0, 0.5}) {
    const double wavelength = ratio * cutoff_mm;
    const auto in = sine(wavelength, 1.0, 60 * wavelength);
    const double expected = std::exp(-std::numbers::pi * std::pow(alpha / ratio, 2));
    // Weights are cut one cutoff from the middle, where ISO's have fallen to exp(-pi / alpha^2) = 6.5e-7 of their peak.
    EXPECT_NEAR(transmitted(in, gaussian_mean_line(in, step_mm, cutoff_mm, 0), 2 * cutoff_mm), expected, 1e-3) << ratio;
  }
}

TEST(GaussianFilter, BandPassesHalfAtEachOfItsEnds) {
  const double alpha = std::sqrt(std::numbers::ln2 / std::numbers::pi);
  const auto pass = [&](double cutoff, double wavelength) {
    return std::exp(-std::numbers::pi * std::pow(alpha * cutoff / wavelength, 2));
  };
  const double shortest = 10.0, longest = 80.0;
  for (const double wavelength : {5.0, 10.0, 20.0, 34.0, 80.0, 160.0}) {
    const auto in = sine(wavelength, 1.0, 40 * wavelength + 400);
    const double share = transmitted(in, wavelength_band(in, step_mm, shortest, longest), 160.0);
    EXPECT_NEAR(share, pass(shortest, wavelength) - pass(longest, wavelength), 3e-3) << wavelength;
  }
}

// Order 0 adds lc^2 times a constant to a parabola (closed form: second moment of the weights, alpha^2 / (2 pi) per
// unit curvature 2); order 2 lets parabolas through, to the very ends.
TEST(GaussianFilter, ParabolasAndLines) {
  std::vector<double> parabola, line;
  for (double x = 0.0; x < 100.0; x += step_mm) parabola.push_back(x * x), line.push_back(2.0 + 0.3 * x);
  const double alpha_squared = std::numbers::ln2 / std::numbers::pi;
  const auto zeroth = gaussian_mean_line(parabola, step_mm, cutoff_mm, 0);
  EXPECT_NEAR(zeroth[200] - parabola[200], alpha_squared / (2 * std::numbers::pi) * cutoff_mm * cutoff_mm, 2e-3);
  const auto second = gaussian_mean_line(parabola, step_mm, cutoff_mm, 2);
  const auto straight = gaussian_mean_line(line, step_mm, cutoff_mm, 2);
  for (std::size_t i = 0; i < parabola.size(); ++i) {
    EXPECT_NEAR(second[i], parabola[i], 1e-3) << i;
    EXPECT_NEAR(straight[i], line[i], 1e-6) << i;
  }
}

TEST(GaussianFilter, EndsHoldAConstantAndGapsStayHonest) {
  std::vector<double> profile(200, 1.5);
  for (std::size_t i = 80; i < 160; ++i) profile[i] = std::numeric_limits<double>::quiet_NaN();
  const auto mean = gaussian_mean_line(profile, step_mm, cutoff_mm, 0);
  EXPECT_NEAR(mean.front(), 1.5, 1e-12);
  EXPECT_NEAR(mean.back(), 1.5, 1e-12);
  EXPECT_NEAR(mean[79], 1.5, 1e-12);
  EXPECT_TRUE(std::isnan(mean[120]));  // 10 mm from anything seen
  const auto band = wavelength_band(std::vector<double>(200, 1.5), step_mm, 2.0, 8.0);
  for (const double value : band) EXPECT_NEAR(value, 0.0, 1e-12);
}

TEST(PeakToValley, FindsBoth) {
  const double nan = std::numeric_limits<double>::quiet_NaN();
  const PeakToValley found = peak_to_valley({nan, 1.0, -2.0, 0.5, 4.0, nan});
  EXPECT_DOUBLE_EQ(found.height, 6.0);
  EXPECT_EQ(found.peak, 4u);
  EXPECT_EQ(found.valley, 2u);
  EXPECT_EQ(peak_to_valley({nan, 3.0}).height, 0.0);
  EXPECT_EQ(peak_to_valley({}).height, 0.0);
}

// A sine of amplitude a: Wt = 2a, Wa = 2a / pi, Wq = a / sqrt 2 (closed form; names ISO 21920-2).
TEST(PeakToValley, OfASineIsTwiceItsAmplitude) {
  const auto profile = sine(34.0, 0.22, 340.0);
  double mean_size = 0.0, mean_square = 0.0;
  for (const double y : profile) {
    mean_size += std::abs(y) / static_cast<double>(profile.size());
    mean_square += y * y / static_cast<double>(profile.size());
  }
  // The highest sample is at most half a step from the crest.
  EXPECT_NEAR(peak_to_valley(profile).height, 0.44, 0.44 * std::pow(std::numbers::pi * step_mm / 34.0, 2));
  EXPECT_NEAR(mean_size, 0.44 / std::numbers::pi, 1e-4);
  EXPECT_NEAR(std::sqrt(mean_square), 0.22 / std::numbers::sqrt2, 1e-5);
}

}  // namespace
}  // namespace rimwright
