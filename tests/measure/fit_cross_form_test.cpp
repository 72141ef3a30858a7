// The form across a face against forms in closed form with known noise.
#include "measure/fit_cross_form.h"

#include <gtest/gtest.h>

#include <Eigen/Cholesky>
#include <algorithm>
#include <array>
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
                               const std::function<bool(double t, int ds)>& seen = nullptr,
                               double point_noise_mm = noise_mm) {
  std::normal_distribution<double> normal;
  std::vector<FormRow> rows;
  for (double t = -0.5 * width_mm + 1.25; t < 0.5 * width_mm - 1.0; t += row_mm) {
    FormRow row;
    row.across = 2.0 * t / width_mm;
    for (int ds = -half_window; ds <= half_window; ++ds) {
      if (seen && !seen(t, ds)) continue;
      const double v = form(t, ds) + point_noise_mm / std::sqrt(points_a_cell) * normal(random);
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

// The model that the header states, by brute force: over all cells at once instead of over terms (Rasmussen and
// Williams 2006, equations 2.25, 2.26 and 2.30), with the noise known instead of told from what is left.
struct PriorTerm {
  int across = 0, power = 0;
  double height_mm = 0.0, of_size = 0.0;  // standard deviation: fixed, or a share of the form's size
};

std::vector<PriorTerm> stated_prior(double width_mm) {
  constexpr double along_mm = 6.0, usual_wave_mm = 10.0, narrowest_mm = 4.0;
  const int across_terms = std::min(cross_form_terms, 3 + static_cast<int>(2.0 * width_mm / narrowest_mm));
  const std::array most_across{cross_form_terms, 10, 7};
  // Of f(s) with that correlation: f, f' and half of f'', whose variances are 1, 1 / l^2 and 3 / l^4 / 4.
  const std::array along{1.0, 1.0 / along_mm, 0.5 * std::sqrt(3.0) / (along_mm * along_mm)};
  std::vector<PriorTerm> prior;
  for (int power = 0; power < 3; ++power)
    for (int across = 0; across < std::min(across_terms, most_across[static_cast<std::size_t>(power)]); ++across) {
      const double taylor = along[static_cast<std::size_t>(power)];
      const double wave_mm = 2.0 * width_mm / (across - 2);
      if (across < 2) prior.push_back({across, power, 100.0, 0.0});
      if (across == 2) prior.push_back({across, power, 0.3 * taylor, 0.0});
      if (across > 2)
        prior.push_back({across, power, 0.0, taylor / std::sqrt(1.0 + std::pow(usual_wave_mm / wave_mm, 4))});
    }
  return prior;
}

double value_of(const PriorTerm& term, double across, double ds) {
  const double in_plane = term.across == 0 ? 1.0 : across;
  return (term.across < 2 ? in_plane : form_terms_at(across)[term.across]) * std::pow(ds, term.power);
}

struct Cell {
  double across = 0.0, ds = 0.0, height_mm = 0.0;
};

struct Posterior {
  std::vector<double> mean_mm, variance_mm2;
};

// At places across in the middle of the window, the plane's terms left out.
Posterior by_brute_force(const std::vector<Cell>& cells, double width_mm, double cell_noise_mm,
                         const std::vector<double>& places) {
  const std::vector<PriorTerm> prior = stated_prior(width_mm);
  const auto count = static_cast<Eigen::Index>(cells.size()), terms = static_cast<Eigen::Index>(prior.size());
  const auto asked = static_cast<Eigen::Index>(places.size());
  Eigen::MatrixXd at_cells(count, terms), at_places = Eigen::MatrixXd::Zero(asked, terms);
  Eigen::VectorXd heights(count);
  for (Eigen::Index c = 0; c < count; ++c) {
    const Cell& cell = cells[static_cast<std::size_t>(c)];
    heights[c] = cell.height_mm;
    for (Eigen::Index k = 0; k < terms; ++k)
      at_cells(c, k) = value_of(prior[static_cast<std::size_t>(k)], cell.across, cell.ds);
  }
  for (Eigen::Index a = 0; a < asked; ++a)
    for (Eigen::Index k = 0; k < terms; ++k)
      if (prior[static_cast<std::size_t>(k)].across > 1)
        at_places(a, k) = value_of(prior[static_cast<std::size_t>(k)], places[static_cast<std::size_t>(a)], 0.0);

  std::array<double, 3> log_likelihood{};
  std::array<Eigen::VectorXd, 3> means, variances;
  for (std::size_t s = 0; s < 3; ++s) {
    const double size_mm = std::array{0.2, 0.06, 0.02}[s];
    Eigen::VectorXd variance(terms);
    for (Eigen::Index k = 0; k < terms; ++k) {
      const PriorTerm& term = prior[static_cast<std::size_t>(k)];
      variance[k] = std::pow(term.height_mm + size_mm * term.of_size, 2);
    }
    Eigen::MatrixXd covariance = at_cells * variance.asDiagonal() * at_cells.transpose();
    covariance.diagonal().array() += cell_noise_mm * cell_noise_mm;
    const Eigen::LLT<Eigen::MatrixXd> factor(covariance);
    const Eigen::MatrixXd across = at_places * variance.asDiagonal() * at_cells.transpose();
    const Eigen::VectorXd weighted = factor.solve(heights);
    means[s] = across * weighted;
    variances[s] = (at_places * variance.asDiagonal() * at_places.transpose()).diagonal() -
                   (across * factor.solve(across.transpose())).diagonal();
    const Eigen::MatrixXd lower = factor.matrixL();
    log_likelihood[s] = -0.5 * heights.dot(weighted) - lower.diagonal().array().log().sum();
  }
  const double best = *std::max_element(log_likelihood.begin(), log_likelihood.end());
  double weights = 0.0;
  Eigen::VectorXd mean = Eigen::VectorXd::Zero(asked), square = Eigen::VectorXd::Zero(asked);
  for (std::size_t s = 0; s < 3; ++s) {
    const double weight = std::exp(log_likelihood[s] - best);
    weights += weight;
    mean += weight * means[s];
    square += weight * (variances[s] + means[s].cwiseAbs2());
  }
  mean /= weights;
  const Eigen::VectorXd variance = square / weights - mean.cwiseAbs2();
  return {{mean.begin(), mean.end()}, {variance.begin(), variance.end()}};
}

TEST(FitCrossForm, IsTheSolutionOfItsStatedModel) {
  const unsigned seed = 8;
  SCOPED_TRACE(seed);
  std::mt19937_64 random(seed);
  std::normal_distribution<double> normal;
  const std::vector<double> places{-0.7, -0.35, 0.0, 0.3, 0.75};
  for (const double width : {9.0, 16.0, 24.0})
    for (const double size_mm : {0.2, 0.06, 0.02, 0.0}) {
      constexpr int trials = 12;
      double squares = 0.0, ratio = 0.0, cells_a_trial = 0.0;
      for (int trial = 0; trial < trials; ++trial) {
        std::vector<double> drawn;  // from the prior, the plane aside
        const std::vector<PriorTerm> prior = stated_prior(width);
        for (const PriorTerm& term : prior)
          drawn.push_back(term.across < 2 ? 0.0 : normal(random) * (term.height_mm + size_mm * term.of_size));
        const Form form = [&](double t, double ds) {
          double height = 0.0;
          for (std::size_t k = 0; k < prior.size(); ++k) height += drawn[k] * value_of(prior[k], 2.0 * t / width, ds);
          return height;
        };
        std::vector<Cell> cells;
        const Form noted = [&](double t, double ds) {
          const double height = form(t, ds) + noise_mm * normal(random);
          cells.push_back({2.0 * t / width, ds, height});
          return height;
        };
        const CrossForm fit = fit_cross_form(made_rows(noted, width, 1, random, nullptr, 0.0), width);
        cells_a_trial = static_cast<double>(cells.size());
        const Posterior truth = by_brute_force(cells, width, noise_mm, places);
        for (std::size_t k = 0; k < places.size(); ++k) {
          const CrossRow at = form_terms_at(places[k]);
          squares += std::pow(at.dot(fit.terms_mm) - truth.mean_mm[k], 2) / truth.variance_mm2[k];
          ratio += std::sqrt(at.dot(fit.covariance_mm2 * at) / truth.variance_mm2[k]);
        }
      }
      // The fit tells the noise from what is left, by so much of itself (standard deviation of a root mean square). An
      // error d of the noise moves a mode's mean by 2 d (1 - r) of it, where r is the share of the data in it: by d
      // standard deviations at the most; half as much again for the weights of the sizes. It is as wrong in the stated
      // doubt, on the mean of the trials.
      const double noise_error = 1.0 / std::sqrt(2.0 * cells_a_trial);
      const auto count = static_cast<double>(trials * places.size());
      EXPECT_LT(std::sqrt(squares / count), 1.5 * noise_error) << width << ", " << size_mm;
      EXPECT_NEAR(ratio / count, 1.0, 3.0 * noise_error / std::sqrt(trials)) << width << ", " << size_mm;
    }
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
