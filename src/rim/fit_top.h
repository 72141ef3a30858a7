// Fit top: the quadric through cells that are held to be the top.
//
// Robust (Tukey's biweight on the median deviation). In a noisy scan few points spill into the cells above and below
// the surface's own: cells count by their points, up to the usual number.
#pragma once

#include <array>
#include <cstdint>
#include <optional>
#include <vector>

#include "core/frames.h"
#include "rim/gather_cells.h"

namespace rimwright {

// The top as z = height(x, y) in the body frame: c0 + cx x + cy y + cxx x^2 + cxy x y + cyy y^2.
struct TopSurface {
  std::array<double, 6> coefficients{};
  [[nodiscard]] double height_mm(double x, double y) const {
    const auto& c = coefficients;
    return c[0] + c[1] * x + c[2] * y + c[3] * x * x + c[4] * x * y + c[5] * y * y;
  }
  // Second derivative along a unit direction in plan, 1/mm; negative for a dome.
  [[nodiscard]] double bend_along(const Vector2& direction) const {
    const auto& c = coefficients;
    return 2.0 * (c[3] * direction.x() * direction.x() + c[4] * direction.x() * direction.y() +
                  c[5] * direction.y() * direction.y());
  }
};

// Noise of points as the top's bend feels it: white, and correlated by exp(-h^2 / (2 length^2)).
struct PointNoise {
  double white_mm = 0.0, correlated_mm = 0.0, correlation_length_mm = 0.0;
};

// How well the top's bend is known: covariance of the coefficients cxx, cxy, cyy if its points had a noise of 1 mm,
// each independent; their number and density. Without points the bend is what tops usually have.
struct TopBend {
  Matrix3 covariance = Matrix3::Zero();
  double points = 0.0, points_a_mm2 = 0.0;
  double usual_per_mm = 0.0;  // standard deviation of a bend before it is seen (RefitTopSettings)
  // Of TopSurface::bend_along, 1/mm^2.
  [[nodiscard]] double variance_along(const Vector2& direction, const PointNoise& noise) const;
};

struct TopFit {
  TopSurface surface;
  double tightest_radius_mm = 0.0;  // of its strongest bend
  double rms_mm = 0.0;              // robust scatter of the cells about it
};

// members: which cells. Nothing where the cells do not hold a quadric.
[[nodiscard]] std::optional<TopFit> fit_top(const SurfaceCells& cells, const std::vector<std::uint32_t>& members,
                                            const Transform& T_body_scan);

}  // namespace rimwright
