// Points of a surface, searchable, with the local plane through those near a place: what two passes are compared by.
#pragma once

#include <cstddef>
#include <memory>
#include <vector>

#include "core/frames.h"

namespace rimwright {

// A plane h = height + a u + b v fitted to the points within a cylinder about an axis through a place; h along the
// axis, u and v square to it. Least squares; points are taken to be equally good.
struct LocalPlane {
  bool found = false;
  std::size_t points = 0;
  double height_mm = 0.0;         // along the axis, from the place
  Vector3 normal{0.0, 0.0, 1.0};  // unit, on the side of the axis
  double noise_mm = 0.0;          // expected standard deviation of one point along the axis
  double scatter_mm = 0.0;        // standard deviation of the points about the plane, along the axis
  double leverage = 1.0;          // var(height) = leverage * noise^2; 1 / n when the points lie evenly about the axis
  double form_mm = 0.0;           // how far a bulge or hollow of the surface within the radius may shift the height
};

class SurfacePoints {
 public:
  SurfacePoints(std::vector<Vector3> points_mm, std::vector<double> sigma_mm);
  ~SurfacePoints();
  SurfacePoints(SurfacePoints&&) noexcept;
  SurfacePoints& operator=(SurfacePoints&&) noexcept;

  [[nodiscard]] std::size_t size() const;
  [[nodiscard]] const Vector3& at(std::size_t i) const;

  // Distance to the nearest point; infinity when there are none.
  [[nodiscard]] double nearest_mm(const Vector3& place_mm) const;

  // Indices within a radius, in the order of the points.
  [[nodiscard]] std::vector<std::size_t> within(const Vector3& place_mm, double radius_mm) const;

  // The plane of best fit to the points within radius_mm of a place: normal by principal components, sign arbitrary.
  [[nodiscard]] LocalPlane plane_about(const Vector3& place_mm, double radius_mm) const;

  // The plane through the points within radius_mm of the axis and from `below_mm` under to `above_mm` over the place.
  // Not found with fewer than 6 points, points on one side of the axis only, or a plane steeper than 65 degrees.
  [[nodiscard]] LocalPlane plane_along(const Vector3& place_mm, const Vector3& axis, double radius_mm, double below_mm,
                                       double above_mm) const;

 private:
  struct Index;
  std::unique_ptr<Index> index_;
};

}  // namespace rimwright
