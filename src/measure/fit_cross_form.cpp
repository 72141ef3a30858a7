#include "measure/fit_cross_form.h"

#include <Eigen/Cholesky>
#include <algorithm>
#include <cmath>
#include <limits>
#include <numbers>

namespace rimwright {

namespace {

constexpr int first_cosine = 3;  // after the constant, the line and the parabola

// Constant, line, parabola, and cosines of 1, 2, ... half waves over the face. All but the line hold no line of their
// own by least squares over the face.
CrossRow terms_at(double x) {
  CrossRow p;
  p[0] = 1.0;
  p[1] = x;
  p[2] = 1.5 * x * x - 0.5;
  for (int i = first_cosine; i < cross_form_terms; ++i) {
    const double half_waves = i - first_cosine + 1;
    const double line = (i - first_cosine) % 2 == 0 ? 12.0 / std::pow(half_waves * std::numbers::pi, 2) * x : 0.0;
    p[i] = std::cos(half_waves * std::numbers::pi * 0.5 * (x + 1.0)) + line;
  }
  return p;
}

// A term of the fit: function across, power of mm along.
struct Term {
  int across = 0;
  int power = 0;
  double prior_variance = 0.0;  // mm^2, or of a form of size 1 mm where it goes with the size of the form
  bool goes_with_size = false;
};

constexpr double narrowest_mm = 4.0;     // wave across: what is narrower is not told from scatter
constexpr double usual_wave_mm = 10.0;   // waves across narrower than this are seldom as high as wider ones
constexpr double length_along_mm = 6.0;  // a form seldom changes faster: that of a raised cosine 35 mm long
constexpr double plane_mm = 100.0;       // terms that belong to the plane are free
constexpr double crown_mm = 0.3;         // the parabola is a form that any face may have
constexpr std::array<int, 3> most_across{cross_form_terms, 10, 7};  // at each power along

std::vector<Term> terms_for(double width_mm) {
  const int count = std::min(cross_form_terms, first_cosine + static_cast<int>(2.0 * width_mm / narrowest_mm));
  std::vector<Term> terms;
  for (int power = 0; power < 3; ++power) {
    // Variances of a squared-exponential process and of its Taylor terms.
    const double along = power == 0   ? 1.0
                         : power == 1 ? 1.0 / (length_along_mm * length_along_mm)
                                      : 0.75 / std::pow(length_along_mm, 4);
    for (int i = 0; i < std::min(count, most_across[static_cast<std::size_t>(power)]); ++i) {
      const double wave_mm = 2.0 * width_mm / (i - first_cosine + 1);
      const bool is_wave = i >= first_cosine;
      const double across = is_wave ? 1.0 / (1.0 + std::pow(usual_wave_mm / wave_mm, 4)) : crown_mm * crown_mm;
      terms.push_back({i, power, i < 2 ? plane_mm * plane_mm : along * across, is_wave});
    }
  }
  return terms;
}

constexpr int most_terms = cross_form_terms + 17;
using Vector = Eigen::Matrix<double, Eigen::Dynamic, 1, 0, most_terms, 1>;
using Square = Eigen::Matrix<double, Eigen::Dynamic, Eigen::Dynamic, 0, most_terms, most_terms>;

struct Equations {
  Square normal;
  Vector right;
  double squares_mm2 = 0.0, cells = 0.0;
};

Equations equations_of(const std::vector<FormRow>& rows, const std::vector<Term>& terms) {
  const auto count = static_cast<Eigen::Index>(terms.size());
  Equations equations{Square::Zero(count, count), Vector::Zero(count), 0.0, 0.0};
  for (const FormRow& row : rows) {
    const CrossRow p = terms_at(row.across);
    equations.squares_mm2 += row.squares_mm2;
    equations.cells += row.cells;
    for (Eigen::Index i = 0; i < count; ++i) {
      const Term& a = terms[static_cast<std::size_t>(i)];
      equations.right[i] += p[a.across] * row.heights_mm[static_cast<std::size_t>(a.power)];
      for (Eigen::Index j = 0; j <= i; ++j) {
        const Term& b = terms[static_cast<std::size_t>(j)];
        equations.normal(i, j) += p[a.across] * p[b.across] * row.weights[static_cast<std::size_t>(a.power + b.power)];
      }
    }
  }
  equations.normal.triangularView<Eigen::StrictlyUpper>() = equations.normal.transpose();
  return equations;
}

struct Tried {
  double log_likelihood = 0.0;
  double noise_mm = 0.0;  // of one point: the most likely
  CrossForm form;
};

// noise_mm: what the prior of the terms is held against.
Tried try_size(const Equations& equations, const std::vector<Term>& terms, double size_mm, double noise_mm) {
  const auto count = static_cast<Eigen::Index>(terms.size());
  Square penalised = equations.normal;
  double log_prior = 0.0;
  for (Eigen::Index i = 0; i < count; ++i) {
    const Term& term = terms[static_cast<std::size_t>(i)];
    const double ratio = term.prior_variance * (term.goes_with_size ? size_mm * size_mm : 1.0) / (noise_mm * noise_mm);
    penalised(i, i) += 1.0 / ratio;
    log_prior += std::log(ratio);
  }
  const Eigen::LLT<Square> factor(penalised);
  const Vector solved = factor.solve(equations.right);
  const double left = std::max(1e-12, equations.squares_mm2 - equations.right.dot(solved));
  const double free_cells = std::max(1.0, equations.cells - 6.0);  // the plane's terms take theirs
  const double variance = left / free_cells;
  const double log_determinant = 2.0 * Square(factor.matrixL()).diagonal().array().log().sum();
  Tried tried;
  tried.noise_mm = std::sqrt(variance);
  tried.log_likelihood = -0.5 * (free_cells * std::log(left) + log_determinant + log_prior);
  // Terms at the middle of the window stand first; of them all but the plane's two are wanted.
  const Eigen::Index kept = std::count_if(terms.begin(), terms.end(), [](const Term& t) { return t.power == 0; }) - 2;
  const Square columns = factor.solve(Square::Identity(count, count).middleCols(2, kept));
  tried.form.terms_mm.segment(2, kept) = solved.segment(2, kept);
  tried.form.covariance_mm2.block(2, 2, kept, kept) = variance * columns.middleRows(2, kept);
  tried.form.sampling_mm2.block(2, 2, kept, kept) = variance * (columns.transpose() * equations.normal * columns);
  return tried;
}

}  // namespace

CrossRow form_terms_at(double across) {
  CrossRow p = terms_at(across);
  p[0] = p[1] = 0.0;
  return p;
}

CrossForm fit_cross_form(const std::vector<FormRow>& rows, double width_mm) {
  constexpr std::array sizes_mm{0.2, 0.06, 0.02};
  constexpr double least_noise_mm = 1e-4;
  const std::vector<Term> terms = terms_for(width_mm);
  const Equations equations = equations_of(rows, terms);
  // The noise from what the form leaves, in two rounds: at first the form itself counts as noise.
  double noise_mm = std::sqrt(equations.squares_mm2 / equations.cells);
  for (int round = 0; round < 2; ++round)
    noise_mm = try_size(equations, terms, sizes_mm[0], std::max(least_noise_mm, noise_mm)).noise_mm;
  std::vector<Tried> tried;
  double best = -std::numeric_limits<double>::infinity();
  for (const double size_mm : sizes_mm) {
    tried.push_back(try_size(equations, terms, size_mm, std::max(least_noise_mm, noise_mm)));
    best = std::max(best, tried.back().log_likelihood);
  }
  CrossForm form;
  double weights = 0.0;
  for (const Tried& one : tried) {
    const double weight = std::exp(one.log_likelihood - best);
    weights += weight;
    form.terms_mm += weight * one.form.terms_mm;
    form.sampling_mm2 += weight * one.form.sampling_mm2;
  }
  form.terms_mm /= weights;
  form.sampling_mm2 /= weights;
  for (const Tried& one : tried) {
    const CrossRow away = one.form.terms_mm - form.terms_mm;
    form.covariance_mm2 +=
        std::exp(one.log_likelihood - best) / weights * (one.form.covariance_mm2 + away * away.transpose());
  }
  return form;
}

}  // namespace rimwright
