#include "simulate/clutter.h"

#include <algorithm>
#include <cmath>

#include "simulate/random.h"

namespace rimwright {

namespace {

// A box in the frame of a station: along the rim, out, up.
struct Box {
  Vector3 low, high;
  [[nodiscard]] bool holds(const Vector3& p) const {
    return (p.array() >= low.array()).all() && (p.array() <= high.array()).all();
  }
};

std::vector<Vector3> points_on(const Box& box, double density, Random& random) {
  std::vector<Vector3> points;
  const Vector3 size = box.high - box.low;
  for (int axis = 0; axis < 3; ++axis) {
    const int j = (axis + 1) % 3, k = (axis + 2) % 3;
    for (const double end : {box.low[axis], box.high[axis]}) {
      const std::uint64_t n = random.poisson(density * size[j] * size[k]);
      for (std::uint64_t i = 0; i < n; ++i) {
        Vector3 p;
        p[axis] = end;
        p[j] = random.uniform(box.low[j], box.high[j]);
        p[k] = random.uniform(box.low[k], box.high[k]);
        points.push_back(p);
      }
    }
  }
  return points;
}

}  // namespace

std::vector<Vector3> place_clamps(const Body& body, const ScannerSpec& spec, Random& random,
                                  std::vector<SurfaceSample>& samples) {
  std::vector<Vector3> points;
  for (const ClampSpec& clamp : spec.clamps) {
    const Section section = body.section(clamp.at_mm);
    Matrix3 axes = Matrix3::Zero();  // columns: along, out, up
    axes.col(0).head<2>() = section.along;
    axes.col(1).head<2>() = section.out;
    axes(2, 2) = 1.0;
    const Vector3 origin = section.to_body(section.corner);
    const double half = 0.5 * clamp.along_mm, t = clamp.thickness_mm;
    const double bulge = std::max(0.0, section.down.x() * clamp.down_side_mm);  // a leaning side
    const Box jaw{{-half, -clamp.over_top_mm, 0.0}, {half, bulge + t, t}};
    const Box arm{{-half, bulge, -clamp.down_side_mm}, {half, bulge + t, 0.0}};
    // Hidden: whatever lies under the jaw or behind the arm.
    const Box under{{-half, -clamp.over_top_mm, -clamp.down_side_mm}, {half, bulge + t, t}};
    std::erase_if(samples, [&](const SurfaceSample& s) {
      return under.holds(axes.transpose() * (body.mirrored(s.position_mm) - origin));
    });
    for (const Box& box : {jaw, arm}) {
      for (const Vector3& p : points_on(box, spec.far_density_per_mm2, random)) {
        points.push_back(body.mirrored(axes * p + origin));
      }
    }
  }
  return points;
}

std::vector<Vector3> place_table(const Body& body, const ScannerSpec& spec, Random& random,
                                 const std::vector<SurfaceSample>& samples) {
  std::vector<Vector3> points;
  Eigen::AlignedBox3d box;
  for (const SurfaceSample& s : samples) box.extend(body.mirrored(s.position_mm));
  if (box.isEmpty()) return points;
  constexpr double margin_mm = 60.0;
  const double height = box.min().z() - spec.table_gap_mm;
  const double foot = std::tan(radians_from_degrees(std::max(0.0, body.spec().side.lean_deg))) * spec.side_seen_mm;
  const OutlineDistance distance(body, 2.0);
  const Vector3 low = box.min() - Vector3::Constant(margin_mm), high = box.max() + Vector3::Constant(margin_mm);
  const std::uint64_t n = random.poisson(spec.table_density_per_mm2 * (high.x() - low.x()) * (high.y() - low.y()));
  for (std::uint64_t i = 0; i < n; ++i) {
    const Vector2 plan(random.uniform(low.x(), high.x()), random.uniform(low.y(), high.y()));
    if (distance.nearest(plan).out_mm <= foot) continue;  // under the body
    points.push_back(body.mirrored({plan.x(), plan.y(), height}));
  }
  return points;
}

void cut_holes(const ScannerSpec& spec, Random& random, std::vector<SurfaceSample>& samples) {
  for (int i = 0; i < spec.holes && !samples.empty(); ++i) {
    const Vector3 centre = samples[random.below(samples.size())].position_mm;
    std::erase_if(samples, [&](const SurfaceSample& s) {
      return (s.position_mm - centre).squaredNorm() < spec.hole_radius_mm * spec.hole_radius_mm;
    });
  }
}

}  // namespace rimwright
