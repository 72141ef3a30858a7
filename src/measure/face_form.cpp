#include "measure/face_form.h"

#include <Eigen/Cholesky>
#include <algorithm>
#include <array>
#include <cmath>

#include "measure/fit_cross_form.h"

namespace rimwright {

namespace {

// Fewer say nothing; a narrow face needs fewer.
constexpr double least_points = 50.0, least_points_of_narrow = 30.0, narrow_mm = 12.0;
constexpr std::size_t least_rows = 4;  // a parabola and one to spare
constexpr double least_cells = 12.0;   // twice the terms of the plane

// Whether the face is fitted at t in its own section: in a run-out, and where a channel begins, it ends elsewhere a few
// millimetres on.
bool holds(const FaceFit& fit, double t) {
  return t >= std::min(fit.from_t_mm, fit.to_t_mm) && t <= std::max(fit.from_t_mm, fit.to_t_mm);
}

// At its ends the face gives way to its neighbours: rows thinner than the others are not all face.
void drop_thin_ends(std::vector<FormRow>& rows) {
  if (rows.empty()) return;
  std::vector<double> weights;
  for (const FormRow& row : rows) weights.push_back(row.weights[0]);
  const auto middle = weights.begin() + static_cast<std::ptrdiff_t>(weights.size() / 2);
  std::nth_element(weights.begin(), middle, weights.end());
  const auto is_full = [least = 0.6 * *middle](const FormRow& row) { return row.weights[0] >= least; };
  rows.erase(std::find_if(rows.rbegin(), rows.rend(), is_full).base(), rows.end());
  rows.erase(rows.begin(), std::find_if(rows.begin(), rows.end(), is_full));
}

// The part of a face that a form is told of: fitted clear of the edges, told from edge to edge.
struct Extent {
  double from_t_mm = 0.0, to_t_mm = 0.0;
  double margin_mm = 0.0;
  [[nodiscard]] double half_width_mm() const { return 0.5 * (to_t_mm - from_t_mm); }
  [[nodiscard]] double across(double t) const { return (t - 0.5 * (to_t_mm + from_t_mm)) / half_width_mm(); }
  [[nodiscard]] double fitted_mm() const { return to_t_mm - from_t_mm - 2.0 * margin_mm; }
};

Extent extent_of(const FaceFit& fit) {
  return {std::min(fit.from_t_mm, fit.to_t_mm) - fit.margin_mm, std::max(fit.from_t_mm, fit.to_t_mm) + fit.margin_mm,
          fit.margin_mm};
}

// A few points of a neighbour hardly turn a line, but bend its end: of the form more is kept clear than of the line.
void keep_clear_of_edges(std::vector<FormRow>& rows, const Extent& extent) {
  constexpr double more_clear_mm = 0.4, widest_share = 0.3;  // of the width
  const double half_mm = extent.half_width_mm();
  const double clear_mm =
      std::max(extent.margin_mm, std::min(extent.margin_mm + more_clear_mm, 2.0 * widest_share * half_mm));
  std::erase_if(rows, [&](const FormRow& row) { return std::abs(row.across) * half_mm > half_mm - clear_mm; });
}

std::vector<FormRow> rows_of(const FaceGrid& grid, std::size_t column, const FaceFits& face, const Extent& extent) {
  const FaceFit& fit = face.at[column];
  std::vector<FormRow> rows;
  const auto half = static_cast<std::ptrdiff_t>(std::lround(fit.window_mm / grid.station_step_mm));
  for (std::size_t r = 0; r < grid.rows; ++r) {
    const double t = grid.t(r);
    if (t < extent.from_t_mm + fit.margin_mm || t > extent.to_t_mm - fit.margin_mm) continue;
    FormRow row;
    row.across = extent.across(t);
    for (std::ptrdiff_t d = -half; d <= half; ++d) {
      const auto c = static_cast<std::ptrdiff_t>(column) + d;
      if (c < 0 || c >= static_cast<std::ptrdiff_t>(grid.columns)) continue;
      const std::size_t cell = grid.index(r, static_cast<std::size_t>(c));
      const double n = static_cast<double>(grid.count[cell]);
      if (n < 1.0 || !holds(face.at[static_cast<std::size_t>(c)], t)) continue;
      // The face moves along the rim in a run-out; its form is what is left when that is taken off.
      const double ds = static_cast<double>(d) * grid.station_step_mm;
      const double v = static_cast<double>(grid.mean_mm[cell]) - (fit.shift_along + fit.bend_along * ds) * ds -
                       fit.a_mm - (fit.b + fit.twist_along * ds) * (t - fit.t0_mm);
      double power = n;
      for (std::size_t k = 0; k < row.weights.size(); ++k, power *= ds) {
        row.weights[k] += power;
        if (k < row.heights_mm.size()) row.heights_mm[k] += power * v;
      }
      row.squares_mm2 += n * v * v;
      row.cells += 1.0;
    }
    if (row.cells > 0.0) rows.push_back(row);
  }
  return rows;
}

double points_of(const std::vector<FormRow>& rows) {
  double points = 0.0;
  for (const FormRow& row : rows) points += row.weights[0];
  return points;
}

// Whether every fifth of what is fitted across (of a narrow face fewer parts, none narrower than two rows) holds a
// tenth of its even share of points: with less, the form would be a guess there.
bool every_part_is_seen(const std::vector<FormRow>& rows, const Extent& extent, double row_mm) {
  const double parts = std::floor(std::clamp(extent.fitted_mm() / (2.0 * row_mm), 1.0, 5.0));
  std::vector<double> points(static_cast<std::size_t>(parts), 0.0);
  for (const FormRow& row : rows) {
    const double share = 0.5 + row.across * extent.half_width_mm() / extent.fitted_mm();
    points[static_cast<std::size_t>(std::clamp(parts * share, 0.0, parts - 0.5))] += row.weights[0];
  }
  return *std::min_element(points.begin(), points.end()) >= 0.1 * points_of(rows) / parts;
}

Measured straightness_of(const std::vector<FormRow>& rows, double width_mm, double shared_variance) {
  const CrossForm across = fit_cross_form(rows, width_mm);
  static const auto places = [] {  // across, edge to edge
    std::array<CrossRow, 49> all;
    for (std::size_t k = 0; k < all.size(); ++k)
      all[k] = form_terms_at(2.0 * static_cast<double>(k) / static_cast<double>(all.size() - 1) - 1.0);
    return all;
  }();
  double high = -1e9, low = 1e9;
  CrossRow at_high = CrossRow::Zero(), at_low = CrossRow::Zero();
  for (const CrossRow& place : places) {
    const double height = place.dot(across.terms_mm);
    if (height > high) high = height, at_high = place;
    if (height < low) low = height, at_low = place;
  }
  // Variance of a peak-to-valley height: that of the difference of the form at the two places.
  const CrossRow difference = at_high - at_low;
  const double noise_variance = std::max(0.0, difference.dot(across.sampling_mm2 * difference));
  const double form_variance = std::max(0.0, difference.dot(across.covariance_mm2 * difference) - noise_variance);
  // Noise alone makes peaks: the height of a straight face would come out near two standard deviations of the
  // difference. What the noise explains is taken off in squares.
  const double height = high - low;
  const double noise_height_squared = 4.0 * (noise_variance + form_variance + shared_variance);
  Measured straightness;
  straightness.value = std::sqrt(std::max(0.0, height * height - noise_height_squared));
  straightness.u(UncertaintySource::point_noise) = std::sqrt(noise_variance);
  straightness.u(UncertaintySource::correlated) = std::sqrt(shared_variance);
  straightness.u(UncertaintySource::face_form) =
      std::hypot(std::sqrt(form_variance), 0.5 * (height - straightness.value));
  straightness.points_used = static_cast<std::size_t>(points_of(rows));
  return straightness;
}

struct Crown {
  double height_mm = 0.0;
  double variance_mm2 = 0.0;
};

// From a parabola, which noise moves less than the whole form.
Crown crown_of(const std::vector<FormRow>& rows, double noise_mm) {
  Eigen::Matrix3d normal = Eigen::Matrix3d::Zero();
  Vector3 right = Vector3::Zero();
  for (const FormRow& row : rows) {
    const Vector3 a(1.0, row.across, row.across * row.across);
    normal += row.weights[0] * a * a.transpose();
    right += row.heights_mm[0] * a;
  }
  const Eigen::LDLT<Eigen::Matrix3d> parabola(normal);
  return {-parabola.solve(right)[2], parabola.solve(Vector3::UnitZ())[2] * noise_mm * noise_mm};
}

}  // namespace

FaceForm measure_face_form(const FaceGrid& grid, std::size_t column, const FaceFits& face, const NoiseModel& noise,
                           double usual_bend_per_mm) {
  const FaceFit& fit = face.at[column];
  const Extent extent = extent_of(fit);
  const double half_width_mm = extent.half_width_mm();
  // What a face has that just holds the usual straightness of 0.2 mm, and where it is narrower the same bend
  // (FitSettings::usual_bend_per_mm).
  constexpr double widest_usual_crown_mm = 0.2;
  const double usual_crown_mm = std::min(widest_usual_crown_mm, usual_bend_per_mm * half_width_mm * half_width_mm);
  FaceForm form;
  form.crown_u_mm = usual_crown_mm;
  if (half_width_mm * 2 < 4.0) {
    form.straightness_mm = Measured::not_measured(RefusalReason::not_separable, "the face is narrower than 4 mm here");
    return form;
  }
  std::vector<FormRow> rows = rows_of(grid, column, face, extent);
  if (points_of(rows) < (half_width_mm * 2 < narrow_mm ? least_points_of_narrow : least_points)) {
    form.straightness_mm = Measured::not_measured(RefusalReason::too_few_points, "too few points across the face");
    return form;
  }
  if (!every_part_is_seen(rows, extent, grid.t_step_mm)) {
    form.straightness_mm = Measured::not_measured(RefusalReason::not_seen, "part of the face's width is missing here",
                                                  "scan the bevel again from edge to edge");
    return form;
  }
  drop_thin_ends(rows);
  std::vector<FormRow> clear = rows;
  keep_clear_of_edges(clear, extent);
  double cells = 0.0;
  for (const FormRow& row : clear) cells += row.cells;
  if (clear.size() < least_rows || cells < least_cells) {
    form.straightness_mm = Measured::not_measured(RefusalReason::not_separable,
                                                  "too little of the face's width is clear of its edges here");
    return form;
  }
  // Error shared by neighbours bends the face as a whole: what is left of it after the line is taken out, between
  // places about half a width apart.
  const double half_apart = std::exp(-0.5 * std::pow(half_width_mm / std::max(0.1, noise.correlation_length_mm), 2));
  const double shared_variance =
      2.0 * correlated_variance(noise, fit.window_mm, half_width_mm * 0.5).of_height * (1.0 - half_apart);
  form.straightness_mm = straightness_of(clear, 2.0 * half_width_mm, shared_variance);
  // Up to twice its standard uncertainty chance alone explains a crown, and it is taken for none; beyond, what chance
  // would add in squares is taken off.
  const Crown crown = crown_of(rows, fit.noise_mm);
  const double crown_variance = crown.variance_mm2 + shared_variance;
  form.crown_mm = crown.height_mm * std::max(0.0, 1.0 - 4.0 * crown_variance / (crown.height_mm * crown.height_mm));
  form.crown_u_mm = std::min(usual_crown_mm, std::hypot(std::sqrt(crown_variance), crown.height_mm - form.crown_mm));
  return form;
}

}  // namespace rimwright
