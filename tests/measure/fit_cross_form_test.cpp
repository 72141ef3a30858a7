// The form across a face against forms in closed form with known noise.
#include "measure/fit_cross_form.h"

#include <gtest/gtest.h>

#include <algorithm>
#include <cmath>
#include <functional>
#include <numbers>
#include <random>

namespace {

using namespace rimwright;

constexpr double row_mm = 0.5, noise_mm = 0.05;
constexpr int half_window = 4;  // columns 1 mm apart

// Height over the plane at t, mm from the middle of the face, and ds along.
using Form = std::function<double(double t, double ds)>;

std::vector<FormRow> made_rows(const Form& form, double width_mm, int points_a_cell, std::mt19937_64& random,
                               const std::function<bool(double t, int ds)>& seen = nullptr) {
  std::normal_distribution<double> normal;
  std::vector<FormRow> rows;
  for (double t = -0.5 * width_mm + 1.25; t < 0.5 * width_mm - 1.0; t += row_mm) {
    FormRow row;
    row.across = 2.0 * t / width_mm;
    for (int ds = -half_window; ds <= half_window; ++ds) {
      if (seen && !seen(t, ds)) continue;
      const double v = form(t, ds) + noise_mm / std::sqrt(points_a_cell) * normal(random);
      double power = points_a_cell;
      for (std::size_t k = 0; k < 5; ++k, power *= ds) {
        row.weights[k] += power;
        if (k < 3) row.heights_mm[k] += power * v;
      }
      row.squares_mm2 += points_a_cell * v * v;
      row.cells += 1.0;
    }
    if (row.cells > 0.0) rows.push_back(row);
  }
  return rows;
}

// A raised cosine across and along.
Form hump(double height_mm, double at_mm, double wide_mm, double at_along_mm, double long_mm) {
  return [=](double t, double ds) {
    const double x = (t - at_mm) / wide_mm, y = (ds - at_along_mm) / long_mm;
    if (std::abs(x) > 0.5 || std::abs(y) > 0.5) return 0.0;
    return height_mm * 0.25 * (1.0 + std::cos(2.0 * std::numbers::pi * x)) *
           (1.0 + std::cos(2.0 * std::numbers::pi * y));
  };
}

// Less its least-squares line over the face, by brute force.
std::vector<double> without_line(const std::function<double(double x)>& height) {
  constexpr int n = 401;
  std::vector<double> heights(n);
  double mean = 0.0, lever = 0.0, levers = 0.0;
  for (int k = 0; k < n; ++k) {
    const double x = -1.0 + 2.0 * k / (n - 1);
    heights[static_cast<std::size_t>(k)] = height(x);
    mean += height(x) / n;
    lever += height(x) * x;
    levers += x * x;
  }
  for (int k = 0; k < n; ++k)
    heights[static_cast<std::size_t>(k)] -= mean + lever / levers * (-1.0 + 2.0 * k / (n - 1));
  return heights;
}

double peak_to_valley(const std::vector<double>& heights) {
  const auto [low, high] = std::minmax_element(heights.begin(), heights.end());
  return *high - *low;
}

double peak_to_valley(const CrossForm& form, double within = 1.0) {
  std::vector<double> heights;
  for (int k = 0; k <= 400; ++k) heights.push_back(form_terms_at(within * (-1.0 + k / 200.0)).dot(form.terms_mm));
  return peak_to_valley(heights);
}

TEST(FitCrossForm, TermsHoldNeitherMeanNorLine) {
  for (int term = 2; term < cross_form_terms; ++term) {
    const auto value = [&](double x) { return form_terms_at(x)[term]; };
    const std::vector<double> left = without_line(value);
    double worst = 0.0;
    for (int k = 0; k <= 400; ++k)
      worst = std::max(worst, std::abs(left[static_cast<std::size_t>(k)] - value(-1.0 + k / 200.0)));
    EXPECT_LT(worst, 0.01) << term;  // sums over 401 places against integrals
  }
}

TEST(FitCrossForm, NarrowHollowIsSeenAtItsDepth) {
  // 0.3 mm deep, 8 mm wide, on a face of 24 mm; a parabola or quartic sees half of it.
  const unsigned seed = 1;
  SCOPED_TRACE(seed);
  std::mt19937_64 random(seed);
  const Form hollow = hump(-0.3, 3.0, 8.0, 0.0, 60.0);
  const CrossForm form = fit_cross_form(made_rows(hollow, 24.0, 15, random), 24.0);
  const double truth = peak_to_valley(without_line([&](double x) { return hollow(12.0 * x, 0.0); }));
  // Noise of a height at the middle: 0.05 over the root of 15 points x 9 columns x some 4 rows that a wave of 4 mm
  // leaves free = 0.002; a tenth of the height for waves narrower than 4 mm, which are not fitted.
  EXPECT_NEAR(peak_to_valley(form), truth, 3.0 * 0.002 * std::numbers::sqrt2 + 0.1 * 0.3);
}

TEST(FitCrossForm, ADeepHollowIsSeenThroughFewPoints) {
  // 0.5 mm deep, 10 mm wide, one point a cell: a form taken to be small beforehand would lose a tenth of it.
  const unsigned seed = 6;
  SCOPED_TRACE(seed);
  std::mt19937_64 random(seed);
  const Form hollow = hump(-0.5, 0.0, 10.0, 0.0, 60.0);
  constexpr int trials = 100;
  double depth = 0.0;
  for (int trial = 0; trial < trials; ++trial) {
    const CrossForm form = fit_cross_form(made_rows(hollow, 20.0, 1, random), 20.0);
    depth += form_terms_at(0.0).dot(form.terms_mm) / trials;
  }
  const double truth = without_line([&](double x) { return hollow(10.0 * x, 0.0); })[200];
  // A height's noise of 0.05 over the root of 9 columns x 4 rows that a wave of 4 mm leaves free, half as much again
  // for the parabola along, over so many trials: three times 0.0013. And what waves narrower than 4 mm would add.
  EXPECT_NEAR(depth, truth, 3.0 * 0.0013 + 0.03 * 0.5);
}

TEST(FitCrossForm, SidesOfAHumpAlongTheRimDoNotMixWithItsTop) {
  // On the flank of a hump 30 mm long its height changes by 0.16 mm over the window; half the window is missing beside
  // it.
  const unsigned seed = 2;
  SCOPED_TRACE(seed);
  std::mt19937_64 random(seed);
  const Form flank = hump(0.4, -4.0, 12.0, 9.0, 30.0);
  const auto seen = [](double t, int ds) { return t > 0.0 || ds > -1; };
  const CrossForm form = fit_cross_form(made_rows(flank, 24.0, 15, random, seen), 24.0);
  const double truth = peak_to_valley(without_line([&](double x) { return flank(12.0 * x, 0.0); }));
  EXPECT_NEAR(peak_to_valley(form), truth, 0.02);  // the mean of what is seen would be 0.045 too high
}

TEST(FitCrossForm, StatedDoubtHoldsTheTruth) {
  const unsigned seed = 3;
  SCOPED_TRACE(seed);
  std::mt19937_64 random(seed);
  std::uniform_real_distribution<double> unit(0.0, 1.0);
  int held = 0, all = 0;
  for (int trial = 0; trial < 400; ++trial) {
    const double width = 8.0 + 18.0 * unit(random);
    const double crown = trial % 4 == 0 ? 0.4 * (unit(random) - 0.5) : 0.0;
    const double height = trial % 4 == 1 ? 0.6 * (unit(random) - 0.5) : 0.0;
    const Form bump = hump(height, width * 0.4 * (unit(random) - 0.5), 8.0 + 8.0 * unit(random),
                           20.0 * (unit(random) - 0.5), 25.0 + 35.0 * unit(random));
    const Form both = [&](double t, double ds) { return bump(t, ds) + crown * (1.0 - 4.0 * t * t / (width * width)); };
    const CrossForm form = fit_cross_form(made_rows(both, width, 1 + trial % 12, random), width);
    const std::vector<double> truth = without_line([&](double x) { return both(0.5 * width * x, 0.0); });
    for (const double x : {-0.75, -0.3, 0.0, 0.45, 0.7}) {
      const CrossRow at = form_terms_at(x);
      const double u95 = 2.0 * std::sqrt(at.dot(form.covariance_mm2 * at));
      held += std::abs(at.dot(form.terms_mm) - truth[static_cast<std::size_t>(std::lround(200.0 * (x + 1.0)))]) <= u95;
      ++all;
    }
  }
  // Five places of one trial hang together: as if two were independent, 800 of them, three standard deviations of a
  // share of 95 %.
  EXPECT_GT(held, all * (0.95 - 3.0 * std::sqrt(0.95 * 0.05 / 800.0))) << held << " of " << all;
}

TEST(FitCrossForm, MissingPlaceIsSaidToBeLessSure) {
  const unsigned seed = 4;
  SCOPED_TRACE(seed);
  std::mt19937_64 random(seed);
  const Form flat = [](double, double) { return 0.0; };
  const auto hole = [](double t, int) { return std::abs(t) > 4.0; };
  const CrossForm whole = fit_cross_form(made_rows(flat, 24.0, 10, random), 24.0);
  const CrossForm holed = fit_cross_form(made_rows(flat, 24.0, 10, random, hole), 24.0);
  const CrossRow middle = form_terms_at(0.0);
  EXPECT_GT(middle.dot(holed.covariance_mm2 * middle), 4.0 * middle.dot(whole.covariance_mm2 * middle));
}

TEST(FitCrossForm, SoundFaceStaysFlat) {
  const unsigned seed = 5;
  SCOPED_TRACE(seed);
  std::mt19937_64 random(seed);
  const Form flat = [](double, double) { return 0.0; };
  std::vector<double> heights;
  for (int trial = 0; trial < 101; ++trial)
    heights.push_back(peak_to_valley(fit_cross_form(made_rows(flat, 20.0, 10, random), 20.0), 0.88));
  std::nth_element(heights.begin(), heights.begin() + 50, heights.end());
  // Where there are rows. Every 2 mm free by itself would show the range of ten heights, 3.1 standard deviations (range
  // of ten normal values, Tippett 1925, from memory), each of 0.05 / sqrt(10 x 9 x 4) = 0.0026, and half as much again,
  // since the window's middle is read from a parabola along (variance 9/4 of a mean's).
  EXPECT_LT(heights[50], 3.1 * 1.5 * 0.0026);
}

}  // namespace
