#include "measure/fit_window.h"

#include <Eigen/Cholesky>
#include <algorithm>
#include <cmath>

namespace rimwright {

FaceFit fit_window(std::span<const SliceMoments> slices, std::size_t here, double step_mm, const WindowModel& model) {
  double w = 0, t = 0, points = 0, rejected = 0, steps = 0, step_count = 0;
  for (const SliceMoments& slice : slices) {
    w += slice.w, t += slice.t, points += slice.points, rejected += slice.rejected;
    steps += slice.steps, step_count += slice.step_count;
  }
  FaceFit fit;
  fit.points = points;
  fit.rejected = rejected;
  if (points < model.fewest_points) return fit;
  // Between points, never beyond them: the window holds some at or before the station and some at or after it.
  double until = 0, from = 0;
  for (std::size_t j = 0; j <= here; ++j) until += slices[j].points;
  for (std::size_t j = here; j < slices.size(); ++j) from += slices[j].points;
  if (until < 1.0 || from < 1.0) return fit;
  const double t0 = t / w;

  const auto [measured, measured_right, yy] =
      window_equations(slices, t0, -static_cast<double>(here) * step_mm, step_mm);
  WindowMatrix normal = measured;
  WindowVector right = measured_right;
  // Directions the window does not hold (one slice only, no width, few points) are damped, not guessed.
  const double scale = normal(0, 0);
  for (int k = 1; k < 7; ++k) normal(k, k) += 1e-9 * scale;
  const std::size_t filled = slices.size();
  constexpr double few_points = 40.0;
  const bool may_bend = filled >= 3 && points >= few_points;
  if (!may_bend) normal(3, 3) += 1e6 * scale, normal(4, 4) += 1e6 * scale;
  if (filled < 2) normal(2, 2) += 1e6 * scale;
  if (!model.bends_across) normal(5, 5) += 1e12 * scale;
  const bool turns = model.may_turn_unevenly && filled >= 5 && points >= few_points;
  if (!turns) normal(6, 6) += 1e12 * scale;
  if (model.known_slope) {
    const auto& [slope, freedom, noise_mm] = *model.known_slope;
    const double precision = w / points * noise_mm * noise_mm / (freedom * freedom);  // of a point's mean weight
    normal(1, 1) += precision;
    right[1] += precision * slope;
  }
  const double bend_precision =
      model.known_bend ? w / points * std::pow(model.known_bend->noise_mm / model.known_bend->freedom_per_mm, 2) : 0.0;
  if (model.bends_across) normal(5, 5) += bend_precision;
  Eigen::LDLT<WindowMatrix> solver(normal);
  WindowVector solution = solver.solve(right);
  // Named once more: clang 14 lets no lambda take hold of structured bindings.
  const auto residual_of = [&measured = measured, &measured_right = measured_right, &yy = yy](const WindowVector& x) {
    return std::max(0.0, yy - 2.0 * x.dot(measured_right) + x.dot(measured * x));  // weighted
  };
  // Few points say little of a bend, but the wall of a ledge in a run-out, or either face of one where the cutter
  // wandered, bends by more than they scatter: an F test, beyond its 99.9 % at 25 points and its 99 % at 10.
  constexpr double points_for_plain_bend = 10.0, plainly = 14.0, parameters = 4.0;
  if (!may_bend && filled >= 5 && points >= points_for_plain_bend) {
    WindowMatrix bent = normal;
    bent(3, 3) = measured(3, 3) + 1e-9 * scale;
    const Eigen::LDLT<WindowMatrix> bent_solver(bent);
    const WindowVector bent_solution = bent_solver.solve(right);
    const double bent_residual = residual_of(bent_solution);
    if (bent_solution.allFinite() &&
        (residual_of(solution) - bent_residual) * (points - parameters) > plainly * bent_residual) {
      solver = bent_solver;
      solution = bent_solution;
    }
  }
  // What is wanted of the inverse, a column at a time.
  const WindowVector of_a = solver.solve(WindowVector::Unit(0)), of_b = solver.solve(WindowVector::Unit(1));
  if (!solution.allFinite()) return fit;

  fit.degrees_of_freedom = std::max(1.0, points - 7);
  const double residual_sum = residual_of(solution);
  const double variance = residual_sum / w * points / fit.degrees_of_freedom;  // of a point of mean weight
  const double per_weight = residual_sum / fit.degrees_of_freedom;
  fit.measured = true;
  fit.t0_mm = t0;
  fit.a_mm = solution[0];
  fit.b = solution[1];
  fit.shift_along = solution[2];
  fit.bend_along = solution[3];
  fit.twist_along = solution[4];
  if (model.bends_across) {
    fit.q = solution[5];
    const double of_q = solver.solve(WindowVector::Unit(5))[5];
    fit.variance_q = of_q * per_weight;
    fit.bend_share = 1.0 - of_q * bend_precision;
    fit.covariance_aq = of_a[5] * per_weight;
    fit.covariance_bq = of_b[5] * per_weight;
  }
  fit.variance_a = of_a[0] * per_weight;
  fit.variance_b = of_b[1] * per_weight;
  fit.covariance_ab = of_a[1] * per_weight;
  // Square to the face itself, which in a run-out leans along the rim: the section shows the scatter stretched.
  const double stretched = std::sqrt(1.0 + fit.shift_along * fit.shift_along);
  fit.noise_mm = std::sqrt(variance) / stretched;
  fit.stated_sigma_mm = std::sqrt(points / w);
  if (step_count > 0) fit.step_noise_mm = std::sqrt(steps / step_count) * fit.stated_sigma_mm / stretched;
  return fit;
}

}  // namespace rimwright
