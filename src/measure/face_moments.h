// Moments of a face's points, slice by slice of the rim, and the least-squares equations of a window of slices.
//
// The model is linear in its terms, so a window's equations are sums of its slices' moments, and every point is looked
// at once however many windows it lies in.
#pragma once

#include <Eigen/Core>
#include <span>

namespace rimwright {

// Weighted moments of one face's points within one slice of the rim, brought to the slice's middle. t runs along the
// face in the section, y square to it, mm.
struct SliceMoments {
  double w = 0, t = 0, tt = 0, ttt = 0, tttt = 0, y = 0, ty = 0, tty = 0, yy = 0;
  double points = 0, rejected = 0;
  // Squared steps from a point to the next by their variances (unit: that of a point of weight 1): what the points
  // scatter whatever the form of the face (von Neumann et al., Annals of Mathematical Statistics 12, 1941).
  double steps = 0, step_count = 0;

  void add(double t_mm, double y_mm, double weight) {
    const double wt = weight * t_mm, wtt = wt * t_mm, wy = weight * y_mm;
    w += weight, t += wt, tt += wtt, ttt += wtt * t_mm, tttt += wtt * t_mm * t_mm;
    y += wy, ty += wt * y_mm, tty += wtt * y_mm, yy += wy * y_mm;
    points += 1;
  }
  // The same for many, which lie in the order of the scan: with the steps from each to the next by their residuals.
  // Without weights each has 1.
  void add_all(std::span<const float> t_mm, std::span<const float> y_mm, std::span<const float> residual_mm,
               std::span<const float> weight);
  // Two points next to each other by their residuals.
  void add_step(double residual_mm, double weight, double next_residual_mm, double next_weight) {
    const double step = next_residual_mm - residual_mm;
    steps += step * step * weight * next_weight / (weight + next_weight);
    step_count += 1;
  }
};

// Terms 1, t, s, s^2, t s, t^2, t s^2 with t about t0 and s along the rim from the window's station.
using WindowVector = Eigen::Matrix<double, 7, 1>;
using WindowMatrix = Eigen::Matrix<double, 7, 7>;

struct WindowEquations {
  WindowMatrix normal = WindowMatrix::Zero();
  WindowVector right = WindowVector::Zero();
  double yy = 0.0;  // weighted sum of squares of y
};

// Slices lie step_mm apart, the first at first_s_mm from the station.
[[nodiscard]] WindowEquations window_equations(std::span<const SliceMoments> slices, double t0_mm, double first_s_mm,
                                               double step_mm);

}  // namespace rimwright
