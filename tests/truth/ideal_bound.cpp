#include "ideal_bound.h"

#include <Eigen/Cholesky>
#include <algorithm>
#include <array>
#include <cmath>
#include <functional>
#include <optional>

namespace rimwright {

namespace {

// A face of the true section as a chord, and how sure an ideal fit would be of it.
struct Face {
  bool seen = false;
  Vector2 middle = Vector2::Zero(), along = Vector2::UnitX();
  double width_mm = 0.0;
  double offset_u = 0.0, slope_u = 0.0;
};

struct Faces {
  Face side, top, bevel, lower, upper, floor, wall;  // lower, upper: the bevel where it ends, read at its very edges
  std::array<Face*, 7> all() { return {&side, &top, &bevel, &lower, &upper, &floor, &wall}; }
};

Face face_of(const Section& section, const std::vector<SectionPiece>& pieces, const SurfaceLabel& label) {
  Face face;
  for (const SectionPiece& piece : pieces) {
    if (!(piece.label == label)) continue;
    const Vector2 from = section.out_up(piece.u_from, piece.curve), to = section.out_up(piece.u_to, piece.curve);
    const double width = (to - from).norm();
    if (width <= std::max(0.05, face.width_mm)) continue;  // the longest piece, if another feature interrupts the face
    face = {true, 0.5 * (from + to), (to - from) / width, width, 0.0, 0.0};
  }
  return face;
}

// Cuts a face to its `keep_mm` nearest the rim corner.
void shorten(Face& face, const Vector2& corner, double keep_mm) {
  if (!face.seen || face.width_mm <= keep_mm) return;
  const Vector2 to_corner = (corner - face.middle).dot(face.along) > 0 ? face.along : Vector2(-face.along);
  face.middle += 0.5 * (face.width_mm - keep_mm) * to_corner;
  face.width_mm = keep_mm;
}

void make_sure(Face& face, double half_window_mm, double density, double noise) {
  const double points = density * 2.0 * half_window_mm * face.width_mm;
  face.offset_u = 1.5 * noise / std::sqrt(points);
  face.slope_u = std::sqrt(12.0 / points) * noise / face.width_mm;
}

// What a window of the rim holds of the bevel, or of the strip of it beside one edge: how far it reaches across in each
// slice. In a run-out one half of the window holds less than the other, and beside a channel perhaps nothing.
struct Slice {
  double s_mm = 0.0, from_t_mm = 0.0, to_t_mm = 0.0;  // t from the middle of the face at s = 0
};

std::vector<Slice> bevel_about(const Body& body, double station_mm, double half_window_mm, const Face& at_station) {
  constexpr double step_mm = 0.5;
  const auto slice_at = [&](double s) -> std::optional<Slice> {
    if (station_mm + s < 0.0 || station_mm + s > body.rim_length_mm()) return std::nullopt;
    const Section section = body.section(station_mm + s);
    const Face face = face_of(section, section.pieces(), {BodyFace::bevel, -1, -1});
    if (!face.seen) return std::nullopt;
    const double middle_t = (face.middle - at_station.middle).dot(at_station.along);
    return Slice{s, middle_t - 0.5 * face.width_mm, middle_t + 0.5 * face.width_mm};
  };
  std::vector<Slice> slices;
  for (const double way : {-1.0, 1.0})
    for (double s = 0.5 * step_mm; s < half_window_mm; s += step_mm) {
      const auto slice = slice_at(way * s);
      if (!slice) break;  // a window ends where the face does
      slices.push_back(*slice);
    }
  return slices;
}

constexpr double straight = 0.0;  // as a usual bend

// Least squares over the slices with the model of the bevel, 1, t, s, s^2, t s, t s^2 and t^2, whose factor is known to
// the usual bend (a standard deviation, 1/mm).
class BevelFit {
 public:
  BevelFit(const std::vector<Slice>& slices, double density, double noise, double usual_bend_per_mm) : noise_(noise) {
    if (slices.empty()) return;
    constexpr double step_mm = 0.5;
    const double at[3] = {-std::sqrt(0.6), 0.0, std::sqrt(0.6)}, weight[3] = {5.0 / 18, 8.0 / 18, 5.0 / 18};  // Gauss
    for (const Slice& slice : slices)
      for (int k = 0; k < 3; ++k) {
        const double width = slice.to_t_mm - slice.from_t_mm;
        const Row r = row(0.5 * (slice.from_t_mm + slice.to_t_mm) + 0.5 * width * at[k], slice.s_mm);
        normal_ += density * width * step_mm * weight[k] * r * r.transpose();
      }
    normal_(6, 6) += std::pow(noise / std::max(usual_bend_per_mm, 1e-12), 2);
  }
  [[nodiscard]] double height_u(double t_mm) const { return u_of(row(t_mm, 0.0)); }
  [[nodiscard]] double slope_u() const { return u_of(Row::Unit(1)); }

 private:
  using Row = Eigen::Matrix<double, 7, 1>;
  static Row row(double t, double s) { return (Row() << 1.0, t, s, s * s, t * s, t * s * s, t * t).finished(); }
  [[nodiscard]] double u_of(const Row& r) const { return noise_ * std::sqrt(r.dot(normal_.ldlt().solve(r))); }
  double noise_;
  Eigen::Matrix<double, 7, 7> normal_ = Eigen::Matrix<double, 7, 7>::Zero();
};

// The bevel's end as a tangent about its edge: a strip of it, bent like a parabola across. Where a channel cut the edge
// away, the parabola is read that far beyond its points.
Face end_of(const Face& bevel, std::vector<Slice> slices, const Vector2& corner_of_edge, double density, double noise,
            const FitSettings& settings) {
  Face end = bevel;
  const double edge_t = (corner_of_edge - bevel.middle).dot(bevel.along);  // from the middle of the face
  end.middle = bevel.middle + edge_t * bevel.along;
  for (Slice& slice : slices)
    if (edge_t < 0.0)
      slice.to_t_mm = std::min(slice.to_t_mm, slice.from_t_mm + settings.edge_strip_mm);
    else
      slice.from_t_mm = std::max(slice.from_t_mm, slice.to_t_mm - settings.edge_strip_mm);
  const bool bends = std::min(bevel.width_mm, settings.edge_strip_mm) >= settings.narrowest_bend_mm;
  end.offset_u = BevelFit(slices, density, noise, bends ? settings.usual_bend_per_mm : straight).height_u(edge_t);
  end.slope_u = 0.0;  // turning about the edge does not move it
  return end;
}

// The window the fit would take for a long face.
double grown_window(const Face& face, double from_mm, double density, double noise, const FitSettings& settings) {
  const double wanted = 12.0 * std::pow(noise / (face.width_mm * settings.wanted_slope_u), 2);
  return std::clamp(wanted / (density * 2.0 * face.width_mm), from_mm, settings.longest_window_mm);
}

Vector2 meeting(const Face& a, const Face& b) {
  const double cross = a.along.x() * b.along.y() - a.along.y() * b.along.x();
  const Vector2 between = b.middle - a.middle;
  return a.middle + (between.x() * b.along.y() - between.y() * b.along.x()) / cross * a.along;
}

Vector2 normal_of(const Face& face) { return {face.along.y(), -face.along.x()}; }

// Root sum of squares of the effects of one standard uncertainty of each face's offset and slope.
double spread_of(const std::function<double(const Faces&)>& quantity, Faces faces) {
  double variance = 0.0;
  const double here = quantity(faces);
  for (Face* face : faces.all()) {
    if (!face->seen) continue;
    const Face kept = *face;
    constexpr double step = 1e-4;  // mm, rad; the quantities are smooth on the scale of millimetres
    face->middle += step * normal_of(kept);
    variance += std::pow((quantity(faces) - here) / step * kept.offset_u, 2);
    *face = kept;
    face->along = Eigen::Rotation2Dd(step) * kept.along;
    variance += std::pow((quantity(faces) - here) / step * kept.slope_u, 2);
    *face = kept;
  }
  return std::sqrt(variance);
}

IdealStep bound_of_step(BodyCorner corner, const Faces& faces) {
  IdealStep step;
  const bool in_side = corner == BodyCorner::side_bevel;
  const auto first = [in_side](const Faces& f) -> const Face& { return in_side ? f.side : f.top; };
  const auto start = [corner](const Faces& f) {
    return corner == BodyCorner::top_side    ? meeting(f.side, f.top)
           : corner == BodyCorner::top_bevel ? meeting(f.upper, f.top)
                                             : meeting(f.lower, f.side);
  };
  step.depth_u_mm =
      spread_of([&](const Faces& f) { return (f.floor.middle - first(f).middle).dot(normal_of(first(f))); }, faces);
  step.width_u_mm = spread_of([&](const Faces& f) { return (f.wall.middle - start(f)).dot(first(f).along); }, faces);
  return step;
}

}  // namespace

IdealStation ideal_bound(const Body& body, double station_mm, double density, double noise,
                         const FitSettings& settings) {
  IdealStation ideal;
  const Section section = body.section(station_mm);
  const auto pieces = section.pieces();
  Faces faces;
  faces.side = face_of(section, pieces, {BodyFace::side, -1, -1});
  faces.top = face_of(section, pieces, {BodyFace::top, -1, -1});
  faces.bevel = face_of(section, pieces, {BodyFace::bevel, -1, -1});
  const auto& channels = body.spec().channels;
  ideal.channels.resize(channels.size());
  for (std::size_t c = 0; c < channels.size(); ++c) ideal.channels[c].resize(channels[c].steps.size());
  if (!faces.side.seen || !faces.top.seen) return ideal;
  shorten(faces.side, section.corner, settings.side_depth_mm);
  shorten(faces.top, section.corner, settings.top_depth_mm);
  for (Face* face : {&faces.side, &faces.top})
    make_sure(*face, grown_window(*face, settings.reference_window_mm, density, noise, settings), density, noise);
  if (faces.bevel.seen) {
    const double half = grown_window(faces.bevel, settings.bevel_window_mm, density, noise, settings);
    const auto slices = bevel_about(body, station_mm, half, faces.bevel);
    faces.bevel.offset_u = 0.0;  // nothing reads it
    faces.bevel.slope_u = BevelFit(slices, density, noise, straight).slope_u();
    faces.lower = end_of(faces.bevel, slices, section.lower_edge, density, noise, settings);
    faces.upper = end_of(faces.bevel, slices, section.upper_edge, density, noise, settings);
    const auto angle = [](const Faces& f) {
      return std::acos(std::clamp(std::abs(f.side.along.dot(f.bevel.along)), 0.0, 1.0));
    };
    ideal.angle_u_deg = degrees_from_radians(spread_of(angle, faces));
    ideal.drop_u_mm =
        spread_of([](const Faces& f) { return (meeting(f.side, f.top) - meeting(f.side, f.lower)).norm(); }, faces);
    ideal.top_reach_u_mm =
        spread_of([](const Faces& f) { return (meeting(f.side, f.top) - meeting(f.top, f.upper)).norm(); }, faces);
  }
  for (std::size_t c = 0; c < channels.size(); ++c)
    for (std::size_t k = 0; k < channels[c].steps.size(); ++k) {
      const auto channel = static_cast<std::int8_t>(c), step = static_cast<std::int8_t>(k);
      faces.floor = face_of(section, pieces, {BodyFace::floor, channel, step});
      faces.wall = face_of(section, pieces, {BodyFace::wall, channel, step});
      const bool needs_bevel = channels[c].corner != BodyCorner::top_side;
      if (!faces.floor.seen || !faces.wall.seen || (needs_bevel && !faces.bevel.seen)) continue;
      for (Face* face : {&faces.floor, &faces.wall}) {
        const double wanted = settings.ledge_points / (density * 2.0 * face->width_mm);
        const double half = std::clamp(wanted, settings.ledge_window_mm, settings.longest_ledge_window_mm);
        make_sure(*face, half, density, noise);
      }
      ideal.channels[c][k] = bound_of_step(channels[c].corner, faces);
    }
  return ideal;
}

}  // namespace rimwright
