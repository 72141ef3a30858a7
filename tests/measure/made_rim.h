// A straight rim made by hand: a profile in (out, up) swept along it, sampled with noise along each facet's normal.
// Nothing of the simulator is used, so that every number in a test can be followed by hand.
#pragma once

#include <algorithm>
#include <cmath>
#include <functional>
#include <numeric>
#include <random>
#include <vector>

#include "measure/name_faces.h"
#include "rim/unroll.h"

namespace rimwright::test {

// Vertices in (out, up), from the side's end up to the top's end; facets between them.
using Profile = std::vector<Vector2>;

inline Vector2 from_upright(double angle_deg) {
  const double a = radians_from_degrees(angle_deg);
  return {-std::sin(a), std::cos(a)};
}

// Side 45 mm down, bevel of the given drop whose face makes `angle_deg` with the side inside the wood, flat top 50 mm.
inline Profile bevelled_profile(double drop_mm, double angle_deg) {
  const double reach = drop_mm * -std::tan(radians_from_degrees(angle_deg));
  return {{0.0, -45.0}, {0.0, -drop_mm}, {-reach, 0.0}, {-50.0, 0.0}};
}

struct RimPoints {
  std::vector<float> station, out, up;
};

// The profile may depend on the station. `lift(station, facet)` pushes the facet along its normal (into the air).
inline UnrolledRim made_rim(double length_mm, const std::function<Profile(double)>& profile, double density_per_mm2,
                            double noise_mm, unsigned seed,
                            const std::function<double(double, std::size_t, double)>& lift = nullptr) {
  std::mt19937 random(seed);
  std::uniform_real_distribution<double> share(0.0, 1.0);
  std::normal_distribution<double> normal(0.0, 1.0);
  std::vector<Vector2> straight;
  for (double s = 0.0; s <= length_mm + 1e-9; s += 1.0) straight.emplace_back(s, 0.0);
  UnrolledRim rim{.curve = RimCurve(straight, false), .T_body_scan = Transform::Identity(), .top = {}, .slice_mm = 0.5};
  RimPoints points;
  const Profile first = profile(0.0);
  for (std::size_t facet = 0; facet + 1 < first.size(); ++facet) {
    const double width = (first[facet + 1] - first[facet]).norm();
    const auto count = static_cast<std::size_t>(density_per_mm2 * width * length_mm);
    for (std::size_t i = 0; i < count; ++i) {
      const double s = length_mm * share(random), across = share(random);
      const Profile here = profile(s);
      const Vector2 along = (here[facet + 1] - here[facet]).normalized(), out(along.y(), -along.x());
      const double t = across * (here[facet + 1] - here[facet]).norm();
      const Vector2 p = here[facet] + t * along + (noise_mm * normal(random) + (lift ? lift(s, facet, t) : 0.0)) * out;
      points.station.push_back(static_cast<float>(s));
      points.out.push_back(static_cast<float>(p.x()));
      points.up.push_back(static_cast<float>(p.y()));
    }
  }
  std::vector<std::size_t> order(points.station.size());
  std::iota(order.begin(), order.end(), 0u);
  const auto slices = static_cast<std::size_t>(std::ceil(length_mm / rim.slice_mm));
  const auto slice_of = [&](std::size_t i) {
    return std::min(slices - 1, static_cast<std::size_t>(points.station[i] / rim.slice_mm));
  };
  // Along the profile within a slice, as a rim's bands hold them.
  std::sort(order.begin(), order.end(), [&](std::size_t a, std::size_t b) {
    return std::pair(slice_of(a), points.up[a] - points.out[a]) < std::pair(slice_of(b), points.up[b] - points.out[b]);
  });
  rim.slice_begin.assign(slices + 1, 0);
  for (const std::size_t i : order) {
    rim.station_mm.push_back(points.station[i]);
    rim.out_mm.push_back(points.out[i]);
    rim.up_mm.push_back(points.up[i]);
    ++rim.slice_begin[slice_of(i) + 1];
  }
  for (std::size_t k = 0; k < slices; ++k) rim.slice_begin[k + 1] += rim.slice_begin[k];
  // One band across holds everything.
  rim.band_count = 1;
  rim.first_band_mm = -500.0;
  rim.band_mm = 1000.0;
  rim.band_begin = rim.slice_begin;
  return rim;
}

// The piece that a facet of the profile is, in the profile frame (turned by 45 degrees).
inline Piece piece_of(const Vector2& from, const Vector2& to, Lie lie) {
  const auto along = [](const Vector2& p) { return (p.y() - p.x()) / std::numbers::sqrt2; };
  const auto height = [](const Vector2& p) { return (p.y() + p.x()) / std::numbers::sqrt2; };
  Piece piece;
  piece.lie = lie;
  piece.from_along_mm = along(from);
  piece.to_along_mm = along(to);
  piece.middle_along_mm = 0.5 * (along(from) + along(to));
  piece.middle_height_mm = 0.5 * (height(from) + height(to));
  piece.slope = (height(to) - height(from)) / (along(to) - along(from));
  piece.points = 100;
  return piece;
}

// Tracks of side, bevel and top known beforehand: what segmenting and naming would hand over.
inline FaceTracks bevelled_tracks(double length_mm, const std::function<Profile(double)>& profile) {
  FaceTracks tracks;
  FaceTrack side{.name = FaceName::side, .lie = Lie::upright}, top{.name = FaceName::top, .lie = Lie::level},
      bevel{.name = FaceName::bevel, .lie = Lie::sloping};
  for (double s = 1.0; s < length_mm; s += 2.0) {
    tracks.station_mm.push_back(s);
    const Profile p = profile(s);
    side.piece.push_back(piece_of(p[0], p[1], Lie::upright));
    bevel.piece.push_back(piece_of(p[1], p[2], Lie::sloping));
    top.piece.push_back(piece_of(p[2], p[3], Lie::level));
    for (FaceTrack* track : {&side, &top, &bevel}) track->present.push_back(1);
  }
  tracks.tracks = {side, top, bevel};
  return tracks;
}

inline Expected expected_bevel(double drop_mm, double angle_deg) {
  Expected expected;
  expected.bevel = ExpectedBevel{radians_from_degrees(angle_deg), drop_mm};
  return expected;
}

}  // namespace rimwright::test
