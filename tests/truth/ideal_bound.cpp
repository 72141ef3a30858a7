#include "ideal_bound.h"

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

void make_sure(Face& face, double half_window_mm, double density, double noise, bool turns = false) {
  const double points = density * 2.0 * half_window_mm * face.width_mm;
  face.offset_u = 1.5 * noise / std::sqrt(points);
  face.slope_u = (turns ? 1.5 : 1.0) * std::sqrt(12.0 / points) * noise / face.width_mm;
}

// The bevel's end as a tangent about its edge: a strip of it, bent like a parabola across. Where a channel cut the edge
// away, the parabola is read that far beyond its points.
Face end_of(const Face& bevel, const Vector2& corner_of_edge, double half_window_mm, double density, double noise,
            const FitSettings& settings) {
  Face end = bevel;
  const double edge_t = (corner_of_edge - bevel.middle).dot(bevel.along);  // from the middle of the face
  end.width_mm = std::min(bevel.width_mm, settings.edge_strip_mm);
  end.middle = bevel.middle + edge_t * bevel.along;
  const double strip_middle_t = std::copysign(0.5 * (bevel.width_mm - end.width_mm), edge_t);
  const double x = std::max(1.0, std::abs(edge_t - strip_middle_t) / (0.5 * end.width_mm));
  const double points = density * 2.0 * half_window_mm * end.width_mm;
  // Height of a least-squares parabola at x half widths from the middle of its points, by Legendre polynomials:
  // 1 + 3 P1^2 + 5 P2^2 over n; the first two also bend along the rim.
  const double p2 = 0.5 * (3.0 * x * x - 1.0);
  // What is known of the bend beforehand, q of standard deviation f, is a P2 coefficient of f w^2 / 6.
  const double known = settings.usual_bend_per_mm * end.width_mm * end.width_mm / 6.0;
  const double bend_variance =
      end.width_mm < settings.narrowest_bend_mm ? 0.0 : 1.0 / (points / (5.0 * noise * noise) + 1.0 / (known * known));
  end.offset_u = std::sqrt(9.0 / 4.0 * (1.0 + 3.0 * x * x) / points * noise * noise + p2 * p2 * bend_variance);
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
    make_sure(faces.bevel, half, density, noise, true);
    faces.lower = end_of(faces.bevel, section.lower_edge, half, density, noise, settings);
    faces.upper = end_of(faces.bevel, section.upper_edge, half, density, noise, settings);
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
