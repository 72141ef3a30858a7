#include "judge/removal_map.h"

#include <algorithm>
#include <array>
#include <cmath>
#include <limits>

#include "judge/surface_points.h"
#include "judge/untouched_patches.h"

namespace rimwright {
namespace {

struct RimFrame {
  Vector3 corner = Vector3::Zero();
  Vector3 tangent = Vector3::UnitX();
  bool found = false;
};

// The rim corner and its direction at a station.
class Rim {
 public:
  explicit Rim(const std::vector<RimPoint>& points) : points_(points) {}

  [[nodiscard]] RimFrame at(double station_mm) const {
    if (points_.size() < 2) return {};
    auto after = std::lower_bound(points_.begin(), points_.end(), station_mm,
                                  [](const RimPoint& point, double s) { return point.station_mm < s; });
    after = std::clamp(after, points_.begin() + 1, points_.end() - 1);
    const RimPoint &a = *(after - 1), &b = *after;
    const double span = b.station_mm - a.station_mm;
    const double share = span > 0.0 ? (station_mm - a.station_mm) / span : 0.0;
    RimFrame frame;
    frame.corner = a.at_scan_mm + share * (b.at_scan_mm - a.at_scan_mm);
    // Over a few neighbours, so that the rim's own noise does not turn the section.
    constexpr std::ptrdiff_t reach = 3;
    const auto first = after - std::min<std::ptrdiff_t>(reach, after - points_.begin());
    const auto last = after + std::min<std::ptrdiff_t>(reach, points_.end() - 1 - after);
    const Vector3 chord = last->at_scan_mm - first->at_scan_mm;
    frame.found = chord.norm() > 1e-9;
    if (frame.found) frame.tangent = chord.normalized();
    return frame;
  }

 private:
  const std::vector<RimPoint>& points_;
};

// The normal that looks into the air: worked faces look towards the rim corner, where wood was; a plain top or side
// looks away from the wood, which the other of the two faces lies beyond.
Vector3 towards_air(const Vector3& normal, const Vector3& at, const RimFrame& rim, FaceKind kind,
                    const SurfacePoints& other_face) {
  Vector3 reference = rim.corner - at;
  if (kind == FaceKind::top || kind == FaceKind::side) {
    Vector3 mean = Vector3::Zero();
    constexpr double reach_mm = 12.0;
    const auto near = other_face.within(rim.corner, reach_mm);
    for (const std::size_t i : near) mean += other_face.at(i) / static_cast<double>(near.size());
    reference = near.empty() ? reference : Vector3(at - mean);
  }
  return normal.dot(reference) >= 0.0 ? normal : Vector3(-normal);
}

struct Extras {
  double station_mm = 0.0;
  double left_mm = std::numeric_limits<double>::quiet_NaN();
};

SurfacePoints surface_of(const Pass& pass, const FaceKind* only) {
  std::vector<Vector3> places;
  std::vector<double> sigma;
  for (const FacePoint& point : pass.faces.points) {
    if (only != nullptr && point.kind != *only) continue;
    places.push_back(point.at_scan_mm.cast<double>());
    sigma.push_back(point.sigma_mm > 0.0F ? static_cast<double>(point.sigma_mm) : pass.noise_mm);
  }
  return {std::move(places), std::move(sigma)};
}

// Most cells lost little: a short cylinder holds few points and is quick. A surface near its end may be cut off by it,
// and then the whole depth is searched.
LocalPlane plane_over(const SurfacePoints& surface, const Vector3& at, const Vector3& normal,
                      const RemovalSettings& settings) {
  constexpr double short_reach_mm = 2.5;
  LocalPlane near = surface.plane_along(at, normal, settings.radius_mm, settings.most_added_mm, short_reach_mm);
  const double cosine = near.normal.dot(normal);
  const double tilt_mm = settings.radius_mm * std::sqrt(1.0 - std::min(1.0, cosine * cosine));
  if (near.found && std::abs(near.height_mm) + tilt_mm + 5.0 * near.noise_mm < settings.most_added_mm) return near;
  return surface.plane_along(at, normal, settings.radius_mm, settings.most_added_mm, settings.most_removed_mm);
}

// The earlier surface over a place, if one plane was there. An edge or a second surface within the cylinder shows as
// scatter.
LocalPlane earlier_plane(const SurfacePoints& surface, const Vector3& at, const Vector3& normal, double shared_mm2,
                         const RemovalSettings& settings) {
  LocalPlane plane = plane_over(surface, at, normal, settings);
  constexpr double plain_factor = 2.0;
  if (plane.scatter_mm > plain_factor * std::sqrt(plane.noise_mm * plane.noise_mm + shared_mm2)) plane.found = false;
  return plane;
}

}  // namespace

double RemovalCell::u95_mm() const { return 1.959963984540054 * u_mm; }
bool RemovalCell::came_off() const { return removed_mm - u95_mm() > 0.0; }

std::vector<RemovalCell> removal_map(const Pass& before, const Pass& after, const PassAlignment& alignment,
                                     const RemovalSettings& settings) {
  const SurfacePoints earlier_surface = surface_of(before, nullptr);
  const double shared = alignment.shared_noise_mm * alignment.shared_noise_mm;
  const FaceSurfaces after_faces = face_surfaces(after);
  const Rim rim(after.faces.rim);

  std::vector<RemovalCell> cells;
  for (const FaceKind kind : {FaceKind::bevel, FaceKind::floor, FaceKind::wall, FaceKind::top, FaceKind::side}) {
    std::vector<Vector3> places;
    std::vector<double> sigma;
    std::vector<Extras> extras;
    for (const FacePoint& point : after.faces.points) {
      if (point.kind != kind) continue;
      places.push_back(point.at_scan_mm.cast<double>());
      sigma.push_back(point.sigma_mm > 0.0F ? static_cast<double>(point.sigma_mm) : after.noise_mm);
      extras.push_back({static_cast<double>(point.station_mm), static_cast<double>(point.deviation_mm)});
    }
    const SurfacePoints surface(std::move(places), std::move(sigma));
    const SurfacePoints earlier_same_face = surface_of(before, &kind);
    constexpr std::size_t fewest_points = 3;
    for (const CellMiddle& middle : cell_middles(surface, settings.cell_mm, fewest_points)) {
      const LocalPlane later = surface.plane_about(middle.at_mm, settings.radius_mm);
      if (!later.found) continue;
      RemovalCell cell;
      cell.kind = kind;
      cell.station_mm = extras[middle.nearest].station_mm;
      const RimFrame frame = rim.at(cell.station_mm);
      if (!frame.found) continue;
      const Vector3 axis = later.normal;  // of the search; the height is small against the radius
      cell.at_after_mm = middle.at_mm + later.height_mm * axis;
      const Vector3 normal = towards_air(later.normal, cell.at_after_mm, frame, kind,
                                         kind == FaceKind::top ? after_faces.side : after_faces.top);
      const Vector3 at_before = alignment.to_before(cell.at_after_mm);
      const Vector3 normal_before = alignment.direction_to_before(normal);
      // Its own face first, so that neighbouring faces do not blur a narrow one; else whatever stood there before.
      LocalPlane was = earlier_plane(earlier_same_face, at_before, normal_before, shared, settings);
      if (!was.found) was = earlier_plane(earlier_surface, at_before, normal_before, shared, settings);
      if (!was.found) continue;
      cell.removed_mm = was.height_mm;
      cell.u_alignment_mm = alignment.u_along_mm(at_before, normal_before);
      // Form is a bound and not a spread: a rectangular distribution of that half-width.
      const double form = (was.form_mm * was.form_mm + later.form_mm * later.form_mm) / 3.0;
      cell.u_shared_mm = std::sqrt(shared + form);
      cell.u_mm =
          std::sqrt(was.leverage * was.noise_mm * was.noise_mm + later.leverage * later.noise_mm * later.noise_mm +
                    shared + form + cell.u_alignment_mm * cell.u_alignment_mm);
      const Vector3 across = normal.cross(frame.tangent).normalized();
      const Vector3 from_corner = cell.at_after_mm - frame.corner;
      cell.across_mm = across.dot(from_corner);
      double left = 0.0;
      std::size_t left_points = 0;
      for (const std::size_t i : surface.within(middle.at_mm, settings.radius_mm)) {
        if (!std::isfinite(extras[i].left_mm)) continue;
        left += extras[i].left_mm;
        ++left_points;
      }
      cell.left_mm =
          left_points > 0 ? left / static_cast<double>(left_points) : std::numeric_limits<double>::quiet_NaN();
      cells.push_back(cell);
    }
  }
  std::stable_sort(cells.begin(), cells.end(), [](const RemovalCell& a, const RemovalCell& b) {
    return std::pair(a.station_mm, a.across_mm) < std::pair(b.station_mm, b.across_mm);
  });
  return cells;
}

}  // namespace rimwright
