// Fit the form across a face: what is left when its plane is taken off, as a smooth function of the place across that
// may change along the rim.
//
// Heights are a parabola and cosines across, each with a parabola along. Their size has a prior. Across, a wave has the
// standard deviation of the form's size, but narrow ones are smaller (size^2 / (1 + (10 mm / wave)^4) is the variance),
// and the parabola 0.3 mm. Along, terms are those of the Taylor series of a Gaussian process with correlation
// exp(-s^2 / (2 (6 mm)^2)). The form's size is 0.2, 0.06 or 0.02 mm, each as likely beforehand and weighted by how
// likely it makes the heights (Rasmussen and Williams, Gaussian Processes for Machine Learning, 2006, ch. 2 and 5). So
// a sound face is not bent by its noise, a hollow as narrow as a sanding block's corner is not smoothed away (waves
// from 4 mm on, on faces up to 24 mm wide; from a sixth of the width beyond), and where points are few the form is said
// to be less sure.
#pragma once

#include <Eigen/Core>
#include <array>
#include <vector>

namespace rimwright {

constexpr int cross_form_terms = 15;  // across: constant, line, parabola, 12 cosines

// Sums over the cells of one row of the window; along is the cell's station less the window's, v its height over the
// plane, n its points.
struct FormRow {
  double across = 0.0;                 // -1 to 1 over the face
  std::array<double, 5> weights{};     // sum of n along^k, mm^k
  std::array<double, 3> heights_mm{};  // sum of n v along^k, mm^(k+1)
  double squares_mm2 = 0.0;            // sum of n v^2
  double cells = 0.0;                  // with points
};

using CrossRow = Eigen::Matrix<double, cross_form_terms, 1>;
using CrossSquare = Eigen::Matrix<double, cross_form_terms, cross_form_terms>;

// At the middle of the window. The constant and the line, which are the plane's, are 0.
struct CrossForm {
  CrossRow terms_mm = CrossRow::Zero();
  CrossSquare covariance_mm2 = CrossSquare::Zero();  // all doubt
  CrossSquare sampling_mm2 = CrossSquare::Zero();    // the part that scatter of points makes
};

// Values of the terms at `across`; 0 for constant and line.
[[nodiscard]] CrossRow form_terms_at(double across);

// At least one row with a cell. The noise of one point is told from what the form leaves.
[[nodiscard]] CrossForm fit_cross_form(const std::vector<FormRow>& rows, double width_mm);

}  // namespace rimwright
