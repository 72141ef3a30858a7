#include "measure/fit_cross_form.h"

#include <Eigen/Cholesky>
#include <algorithm>
#include <cmath>
#include <numbers>
#include <utility>

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
  // Cosines of multiples, each from the two before (Chebyshev's recursion).
  const double once = std::cos(std::numbers::pi * 0.5 * (x + 1.0));
  double before = 1.0, here = once;
  for (int i = first_cosine; i < cross_form_terms; ++i) {
    const double half_waves = i - first_cosine + 1;
    const double line = (i - first_cosine) % 2 == 0 ? 12.0 / std::pow(half_waves * std::numbers::pi, 2) * x : 0.0;
    p[i] = here + line;
    before = std::exchange(here, 2.0 * once * here - before);
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

// The most likely heights where the form has one size. noise_mm: what the prior of the terms is held against.
struct Tried {
  Tried(const Equations& equations, const std::vector<Term>& terms, double size_mm, double noise_mm)
      : precision(static_cast<Eigen::Index>(terms.size())) {
    for (std::size_t i = 0; i < terms.size(); ++i)
      precision[static_cast<Eigen::Index>(i)] =
          noise_mm * noise_mm / (terms[i].prior_variance * (terms[i].goes_with_size ? size_mm * size_mm : 1.0));
    Square penalised = equations.normal;
    penalised.diagonal() += precision;
    factor.compute(penalised);
    solved = factor.solve(equations.right);
    left_mm2 = std::max(1e-12, equations.squares_mm2 - equations.right.dot(solved));
    free_cells = std::max(1.0, equations.cells - 6.0);  // the plane's terms take theirs
  }
  [[nodiscard]] double variance_mm2() const { return left_mm2 / free_cells; }  // of one point: the most likely
  [[nodiscard]] double log_likelihood() const {
    const double log_determinant = 2.0 * factor.matrixLLT().diagonal().array().log().sum();
    return -0.5 * (free_cells * std::log(left_mm2) + log_determinant - precision.array().log().sum());
  }
  [[nodiscard]] CrossForm form(Eigen::Index terms_at_middle) const {
    // Terms at the middle of the window stand first; of them all but the plane's two are wanted.
    const Eigen::Index kept = terms_at_middle - 2, count = precision.size();
    const Square columns = factor.solve(Square::Identity(count, count).middleCols(2, kept));
    CrossForm form;
    form.terms_mm.segment(2, kept) = solved.segment(2, kept);
    // The equations are what was solved less the prior: by noise alone the terms scatter by so much less.
    const Square all_doubt = columns.middleRows(2, kept);
    const Square by_prior = columns.transpose().lazyProduct(precision.asDiagonal() * columns);
    form.covariance_mm2.block(2, 2, kept, kept) = variance_mm2() * all_doubt;
    form.sampling_mm2.block(2, 2, kept, kept) = variance_mm2() * (all_doubt - by_prior);
    return form;
  }

  Vector precision;  // of the terms' prior, in units of the noise
  Eigen::LLT<Square> factor;
  Vector solved;
  double left_mm2 = 0.0, free_cells = 0.0;
};

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
  double variance_mm2 = equations.squares_mm2 / equations.cells;
  const auto noise_mm = [&] { return std::max(least_noise_mm, std::sqrt(variance_mm2)); };
  for (int round = 0; round < 2; ++round)
    variance_mm2 = Tried(equations, terms, sizes_mm[0], noise_mm()).variance_mm2();
  const auto at_middle = std::count_if(terms.begin(), terms.end(), [](const Term& term) { return term.power == 0; });
  std::array<CrossForm, sizes_mm.size()> forms;
  std::array<double, sizes_mm.size()> likelihood{};
  for (std::size_t k = 0; k < sizes_mm.size(); ++k) {
    const Tried tried(equations, terms, sizes_mm[k], noise_mm());
    forms[k] = tried.form(at_middle);
    likelihood[k] = tried.log_likelihood();
  }
  const double best = *std::max_element(likelihood.begin(), likelihood.end());
  CrossForm form;
  double weights = 0.0;
  for (std::size_t k = 0; k < forms.size(); ++k) {
    likelihood[k] = std::exp(likelihood[k] - best);
    weights += likelihood[k];
    form.terms_mm += likelihood[k] * forms[k].terms_mm;
    form.sampling_mm2 += likelihood[k] * forms[k].sampling_mm2;
  }
  form.terms_mm /= weights;
  form.sampling_mm2 /= weights;
  for (std::size_t k = 0; k < forms.size(); ++k) {
    const CrossRow away = forms[k].terms_mm - form.terms_mm;
    form.covariance_mm2 += likelihood[k] / weights * (forms[k].covariance_mm2 + away * away.transpose());
  }
  return form;
}

}  // namespace rimwright
