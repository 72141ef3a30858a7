#include "measure/face_form.h"

#include <Eigen/Cholesky>
#include <algorithm>
#include <array>
#include <cmath>

namespace rimwright {

FaceForm measure_face_form(const FaceGrid& grid, std::size_t column, const FaceFit& fit, const NoiseModel& noise,
                           double usual_bend_per_mm) {
  const double half_window_mm = fit.window_mm;
  FaceForm form;
  // Fitted clear of the edges, told over all that the face shows, edge to edge.
  const double from = std::min(fit.from_t_mm, fit.to_t_mm) - fit.margin_mm;
  const double to = std::max(fit.from_t_mm, fit.to_t_mm) + fit.margin_mm;
  const double half_width = 0.5 * (to - from), middle = 0.5 * (to + from);
  // What a face has that just holds the usual straightness of 0.2 mm, and where it is narrower the same bend
  // (FitSettings::usual_bend_per_mm).
  constexpr double widest_usual_crown_mm = 0.2;
  const double usual_crown_mm = std::min(widest_usual_crown_mm, usual_bend_per_mm * half_width * half_width);
  form.crown_u_mm = usual_crown_mm;
  // A quartic for a wide face, a parabola for a narrow one: never more terms than three millimetres each.
  const int terms = half_width * 2 >= 12.0 ? 5 : 3;
  if (half_width * 2 < 4.0) {
    form.straightness_mm = Measured::not_measured(RefusalReason::not_separable, "the face is narrower than 4 mm here");
    return form;
  }
  using Row = Eigen::Matrix<double, 5, 1>;
  Eigen::Matrix<double, 5, 5> normal = Eigen::Matrix<double, 5, 5>::Identity() * 1e-9;
  Row right = Row::Zero();
  double points = 0;
  // Points in each part of what is fitted, across: fifths, or fewer where a part would be narrower than two rows.
  const auto parts =
      static_cast<std::size_t>(std::clamp((to - from - 2.0 * fit.margin_mm) / (2.0 * grid.t_step_mm), 1.0, 5.0));
  std::vector<double> by_part(parts, 0.0);
  const auto half = static_cast<std::ptrdiff_t>(std::lround(half_window_mm / grid.station_step_mm));
  const auto row_of = [&](double t) {
    const double x = (t - middle) / half_width;
    Row r = Row::Zero();
    double power = 1.0;
    for (int k = 0; k < terms; ++k, power *= x) r[k] = power;
    return r;
  };
  for (std::ptrdiff_t d = -half; d <= half; ++d) {
    const auto c = static_cast<std::ptrdiff_t>(column) + d;
    if (c < 0 || c >= static_cast<std::ptrdiff_t>(grid.columns)) continue;
    // The face moves along the rim in a run-out; its form is what is left when that is taken off.
    const double ds = static_cast<double>(d) * grid.station_step_mm;
    const double shift = fit.shift_along * ds + fit.bend_along * ds * ds;
    for (std::size_t r = 0; r < grid.rows; ++r) {
      const std::size_t cell = grid.index(r, static_cast<std::size_t>(c));
      const double t = grid.t(r);
      if (grid.count[cell] < 1.0F || t < from + fit.margin_mm || t > to - fit.margin_mm) continue;
      const Row a = row_of(t);
      normal += static_cast<double>(grid.count[cell]) * a * a.transpose();
      right += static_cast<double>(grid.count[cell]) *
               (static_cast<double>(grid.mean_mm[cell]) - shift - fit.a_mm -
                (fit.b + fit.twist_along * ds) * (t - fit.t0_mm)) *
               a;
      points += static_cast<double>(grid.count[cell]);
      const double share = (t - from - fit.margin_mm) / (to - from - 2.0 * fit.margin_mm);
      const double part = std::clamp(static_cast<double>(parts) * share, 0.0, static_cast<double>(parts) - 0.5);
      by_part[static_cast<std::size_t>(part)] += static_cast<double>(grid.count[cell]);
    }
  }
  if (points < 10.0 * terms) {
    form.straightness_mm = Measured::not_measured(RefusalReason::too_few_points, "too few points across the face");
    return form;
  }
  // A tenth of an even share: less, and the quartic would be free there.
  if (*std::min_element(by_part.begin(), by_part.end()) < 0.1 * points / static_cast<double>(parts)) {
    form.straightness_mm = Measured::not_measured(RefusalReason::not_seen, "part of the face's width is missing here",
                                                  "scan the bevel again from edge to edge");
    return form;
  }
  for (int k = terms; k < 5; ++k) normal(k, k) = 1.0;
  const Eigen::LDLT<Eigen::Matrix<double, 5, 5>> solver(normal);
  const Row quartic = solver.solve(right);
  // The least-squares line of the form itself goes; sampled evenly, the line's normal equations are diagonal.
  constexpr int samples = 25;
  std::array<double, samples> heights{};
  double mean = 0, lever = 0, levers = 0;
  for (int k = 0; k < samples; ++k) {
    const double x = 2.0 * k / (samples - 1) - 1.0;
    heights[static_cast<std::size_t>(k)] = row_of(middle + x * half_width).dot(quartic);
    mean += heights[static_cast<std::size_t>(k)] / samples;
    lever += heights[static_cast<std::size_t>(k)] * x;
    levers += x * x;
  }
  double high = -1e9, low = 1e9;
  std::size_t at_high = 0, at_low = 0;
  for (int k = 0; k < samples; ++k) {
    const double x = 2.0 * k / (samples - 1) - 1.0;
    const double height = heights[static_cast<std::size_t>(k)] - mean - lever / levers * x;
    if (height > high) high = height, at_high = static_cast<std::size_t>(k);
    if (height < low) low = height, at_low = static_cast<std::size_t>(k);
  }
  // Variance of a peak-to-valley height: that of the difference of the quartic at the two places.
  const auto place = [&](std::size_t k) {
    return row_of(middle + (2.0 * static_cast<double>(k) / (samples - 1) - 1.0) * half_width);
  };
  const Row difference = place(at_high) - place(at_low);
  const double variance = difference.dot(solver.solve(difference)) * fit.noise_mm * fit.noise_mm;
  // Error shared by neighbours bends the face as a whole: what is left of it after the line is taken out, between
  // places about half a width apart.
  const double half_apart = std::exp(-0.5 * std::pow(half_width / std::max(0.1, noise.correlation_length_mm), 2));
  const double shared_variance =
      2.0 * correlated_variance(noise, half_window_mm, half_width * 0.5).of_height * (1.0 - half_apart);
  // Noise alone makes peaks: the height of a straight face would come out near two standard deviations of the
  // difference. What the noise explains is taken off in squares.
  const double noise_height_squared = 4.0 * (variance + shared_variance);
  const double height = high - low;
  form.straightness_mm.value = std::sqrt(std::max(0.0, height * height - noise_height_squared));
  form.straightness_mm.u(UncertaintySource::point_noise) = std::sqrt(variance);
  form.straightness_mm.u(UncertaintySource::correlated) = std::sqrt(shared_variance);
  form.straightness_mm.u(UncertaintySource::face_form) =
      height * height > noise_height_squared ? 0.5 * (height - form.straightness_mm.value) : 0.5 * height;
  form.straightness_mm.points_used = static_cast<std::size_t>(points);
  // The crown, from a parabola, which noise moves less than a quartic. Up to twice its standard uncertainty chance
  // alone explains it, and it is taken for none; beyond, what chance would add in squares is taken off.
  const Eigen::Matrix3d bent = normal.topLeftCorner<3, 3>();
  const Eigen::LDLT<Eigen::Matrix3d> parabola(bent);
  const double crown_mm = -parabola.solve(right.head<3>())[2];
  const double crown_variance =
      parabola.solve(Eigen::Vector3d::UnitZ())[2] * fit.noise_mm * fit.noise_mm + shared_variance;
  form.crown_mm = crown_mm * std::max(0.0, 1.0 - 4.0 * crown_variance / (crown_mm * crown_mm));
  form.crown_u_mm = std::min(usual_crown_mm, std::hypot(std::sqrt(crown_variance), crown_mm - form.crown_mm));
  return form;
}

}  // namespace rimwright
