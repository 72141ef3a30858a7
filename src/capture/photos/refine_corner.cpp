#include "capture/photos/refine_corner.h"

#include <Eigen/Dense>
#include <algorithm>
#include <cmath>
#include <numbers>
#include <vector>

namespace rimwright {
namespace {

using Parameters = Eigen::Matrix<double, 10, 1>;
using Normal = Eigen::Matrix<double, 10, 10>;

// Of the model, in this order.
enum Parameter : int { corner_x, corner_y, angle_1, angle_2, spread_1, spread_2, offset, gain, light_x, light_y };

struct Sample {
  double x, y;  // pixels from the foretold corner
  double grey;
};

// Pixels beside the edges and clear of the markers, and only those whose like across the corner is in the photo too.
std::vector<Sample> samples_about(const Photo& photo, const ForetoldCorner& corner, const ScaleTarget& target,
                                  const RefineCornerSettings& settings) {
  const Eigen::Matrix2d mm_per_pixel = corner.pixel_per_mm.inverse();
  const double arm_mm = settings.arm_share * target.square_mm;
  const double quiet_mm = 0.5 * (target.square_mm - target.marker_mm);
  // A pixel's way in the picture is so many millimetres across either edge at most.
  const Vector2 mm_a_pixel = mm_per_pixel.rowwise().norm();
  // In a small photo that would leave nothing; half of the way is kept, where markers' blur is as alike as they are.
  const Vector2 clear_mm =
      (Vector2::Constant(quiet_mm) - settings.clear_of_marker_px * mm_a_pixel).cwiseMax(0.5 * quiet_mm);
  const Vector2 box_px = corner.pixel_per_mm.cwiseAbs() * Vector2::Constant(arm_mm);
  const auto in_photo = [&](double x, double y) {
    return x >= 0.0 && y >= 0.0 && x <= photo.width - 1 && y <= photo.height - 1;
  };
  std::vector<Sample> samples;
  const auto from_row = static_cast<int>(std::max(0.0, std::ceil(corner.pixel.y() - box_px.y())));
  const auto to_row = static_cast<int>(std::min(photo.height - 1.0, std::floor(corner.pixel.y() + box_px.y())));
  const auto from_column = static_cast<int>(std::max(0.0, std::ceil(corner.pixel.x() - box_px.x())));
  const auto to_column = static_cast<int>(std::min(photo.width - 1.0, std::floor(corner.pixel.x() + box_px.x())));
  for (int row = from_row; row <= to_row; ++row) {
    for (int column = from_column; column <= to_column; ++column) {
      const Vector2 d = Vector2(column, row) - corner.pixel;
      const Vector2 mm = (mm_per_pixel * d).cwiseAbs();
      if (mm.maxCoeff() > arm_mm || (mm.x() > clear_mm.x() && mm.y() > clear_mm.y())) continue;
      if (!in_photo(corner.pixel.x() - d.x(), corner.pixel.y() - d.y())) continue;
      const std::size_t at =
          static_cast<std::size_t>(row) * static_cast<std::size_t>(photo.width) + static_cast<std::size_t>(column);
      samples.push_back({d.x(), d.y(), static_cast<double>(photo.grey[at])});
    }
  }
  return samples;
}

// A blurred step from -1 to 1, and its slope.
struct Step {
  double value, slope;
};
Step step_at(double sigmas) {
  return {std::erf(sigmas / std::numbers::sqrt2), std::sqrt(2.0 / std::numbers::pi) * std::exp(-0.5 * sigmas * sigmas)};
}

struct Equations {
  Normal normal = Normal::Zero();
  Parameters right = Parameters::Zero();
  double squares = 0.0;  // of the residuals
};

Equations equations_at(const std::vector<Sample>& samples, const Parameters& p) {
  const Vector2 e1(std::cos(p[angle_1]), std::sin(p[angle_1])), e2(std::cos(p[angle_2]), std::sin(p[angle_2]));
  Equations equations;
  Parameters row;
  for (const Sample& sample : samples) {
    const double x = sample.x - p[corner_x], y = sample.y - p[corner_y];
    const double off_1 = (e1.x() * y - e1.y() * x) / p[spread_1], off_2 = (e2.x() * y - e2.y() * x) / p[spread_2];
    const Step one = step_at(off_1), two = step_at(off_2);
    const double by_1 = p[gain] * one.slope * two.value / p[spread_1];  // grey for each pixel off line 1
    const double by_2 = p[gain] * two.slope * one.value / p[spread_2];
    row[corner_x] = by_1 * e1.y() + by_2 * e2.y() - p[light_x];
    row[corner_y] = -by_1 * e1.x() - by_2 * e2.x() - p[light_y];
    row[angle_1] = -by_1 * (e1.x() * x + e1.y() * y);
    row[angle_2] = -by_2 * (e2.x() * x + e2.y() * y);
    row[spread_1] = -by_1 * off_1;
    row[spread_2] = -by_2 * off_2;
    row[offset] = 1.0;
    row[gain] = one.value * two.value;
    row[light_x] = x;
    row[light_y] = y;
    const double residual = sample.grey - (p[offset] + p[gain] * row[gain] + p[light_x] * x + p[light_y] * y);
    equations.normal += row * row.transpose();
    equations.right += residual * row;
    equations.squares += residual * residual;
  }
  return equations;
}

// Lines along the board's axes through the foretold corner, as blurred as a photo still in focus may be.
Parameters first_guess(const std::vector<Sample>& samples, const ForetoldCorner& corner) {
  constexpr double blur_px = 1.5;
  Parameters p = Parameters::Zero();
  const Vector2 along_x = corner.pixel_per_mm.col(0), along_y = corner.pixel_per_mm.col(1);
  p[angle_1] = std::atan2(along_x.y(), along_x.x());
  p[angle_2] = std::atan2(along_y.y(), along_y.x());
  p[spread_1] = p[spread_2] = blur_px;
  const Vector2 e1 = along_x.normalized(), e2 = along_y.normalized();
  double sum = 0.0, product = 0.0, square = 0.0;
  for (const Sample& s : samples) {
    const double value =
        step_at((e1.x() * s.y - e1.y() * s.x) / blur_px).value * step_at((e2.x() * s.y - e2.y() * s.x) / blur_px).value;
    sum += s.grey;
    product += value * s.grey;
    square += value * value;
  }
  p[offset] = sum / static_cast<double>(samples.size());
  p[gain] = product / std::max(1.0, square);  // the values of opposite quarters sum to nothing
  return p;
}

// The numbers of the model that fit the pixels best, and what is left.
struct Fitted {
  Parameters p = Parameters::Zero();
  Equations equations;
};

Fitted fit(const std::vector<Sample>& samples, const ForetoldCorner& corner) {
  constexpr int most_rounds = 30;
  constexpr double settled_px = 1e-4, sharpest_px = 0.25;  // a pixel is itself 0.29 wide
  Fitted best{first_guess(samples, corner), {}};
  best.equations = equations_at(samples, best.p);
  double damping = 1e-3;
  for (int round = 0; round < most_rounds && damping < 1e6; ++round) {
    Normal damped = best.equations.normal;
    damped.diagonal() *= 1.0 + damping;
    const Parameters change = damped.ldlt().solve(best.equations.right);
    Fitted tried{best.p + change, {}};
    for (const int spread : {spread_1, spread_2}) tried.p[spread] = std::max(sharpest_px, tried.p[spread]);
    tried.equations = equations_at(samples, tried.p);
    if (!change.allFinite() || !(tried.equations.squares < best.equations.squares)) {
      damping *= 10.0;
      continue;
    }
    best = tried;
    damping *= 0.1;
    if (std::hypot(change[corner_x], change[corner_y]) < settled_px) break;
  }
  return best;
}

}  // namespace

std::optional<Vector2> refine_corner(const Photo& photo, const ForetoldCorner& foretold, const ScaleTarget& target,
                                     const RefineCornerSettings& settings) {
  constexpr std::size_t fewest = 30;                                                // pixels, for ten numbers
  if (!(std::abs(foretold.pixel_per_mm.determinant()) > 0.2)) return std::nullopt;  // px^2 a mm^2: nothing to see
  // Once more about the place found: only there do the pixels lie alike on both sides, and clear of the markers.
  ForetoldCorner corner = foretold;
  constexpr int passes = 2;
  for (int pass = 0; pass < passes; ++pass) {
    const std::vector<Sample> samples = samples_about(photo, corner, target, settings);
    if (samples.size() < fewest) return std::nullopt;
    const auto [p, equations] = fit(samples, corner);
    corner.pixel += Vector2(p[corner_x], p[corner_y]);
    if (!((corner.pixel - foretold.pixel).norm() < settings.farthest_px)) return std::nullopt;
    if (pass + 1 < passes) continue;
    const double contrast = 2.0 * std::abs(p[gain]);
    const double variance = equations.squares / (static_cast<double>(samples.size()) - 10.0);
    const Normal covariance = variance * equations.normal.ldlt().solve(Normal::Identity());
    const double u_px = std::sqrt(std::max(covariance(corner_x, corner_x), covariance(corner_y, corner_y)));
    const bool is_corner = contrast > settings.least_contrast &&
                           std::sqrt(variance) < settings.largest_misfit * contrast && u_px < settings.largest_u_px;
    if (!is_corner) return std::nullopt;
  }
  return corner.pixel;
}

}  // namespace rimwright
