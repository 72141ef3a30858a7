// A pass as inspect would leave it, made from a simulated scan with its true labels: comparing passes is tested here,
// not finding faces.
#pragma once

#include <gtest/gtest.h>

#include <cmath>
#include <limits>
#include <numbers>
#include <random>

#include "judge/pass.h"
#include "simulate/scanner.h"

namespace rimwright::test {

inline BodySpec bevelled_body(double length_mm = 360.0) {
  BodySpec spec;
  // Curvature that grows along the rim, as on a lower bout, so that the rim cannot slide along itself.
  spec.outline.pieces = {{length_mm, 1.0 / 260.0, 1.0 / 110.0}};
  spec.top.dome_radius_mm = 5000.0;
  spec.side.lean_deg = 1.0;
  BevelSpec bevel;
  bevel.from_mm = 50.0;
  bevel.to_mm = length_mm - 50.0;
  bevel.drop_mm = 12.0;
  spec.bevel = bevel;
  return spec;
}

inline DefectSpec hump(double size_mm, double at_mm, double across = 0.5) {
  DefectSpec defect;
  defect.kind = DefectKind::hump;
  defect.size = size_mm;
  defect.at_mm = at_mm;
  defect.across = across;
  defect.length_mm = 40.0;
  defect.width_mm = 14.0;
  return defect;
}

inline FaceKind kind_of(BodyFace face) {
  switch (face) {
    case BodyFace::top: return FaceKind::top;
    case BodyFace::bevel: return FaceKind::bevel;
    case BodyFace::floor: return FaceKind::floor;
    case BodyFace::wall: return FaceKind::wall;
    default: return FaceKind::side;
  }
}

struct SimulatedPass {
  Pass pass;
  Truth truth;
};

inline SimulatedPass simulated_pass(const BodySpec& spec, ScannerSpec scanner, unsigned seed) {
  scanner.random_pose = true;
  scanner.outlier_share = 0.0;
  const auto body = Body::from(spec);
  if (!body) throw std::runtime_error(body.error().sentence());
  const auto scan = scan_cloud(*body, scanner, seed);
  if (!scan) throw std::runtime_error(scan.error().sentence());
  SimulatedPass made;
  made.truth = scan->truth;
  made.pass.folder = "pass " + std::to_string(seed);
  made.pass.instrument = spec.name;
  made.pass.noise_mm = scanner.normal_noise_mm;
  made.pass.correlated_noise_mm = scanner.correlated_noise_mm;
  made.pass.correlation_length_mm = scanner.correlated_noise_mm > 0.0 ? scanner.correlation_length_mm : 0.0;
  std::vector<FacePoint> points;
  for (std::size_t i = 0; i < scan->cloud.size(); ++i) {
    const int face = scan->face[i];
    if (face < 0 || static_cast<BodyFace>(face) == BodyFace::fillet) continue;
    FacePoint point;
    point.at_scan_mm = scan->cloud.point_mm(i).cast<float>();
    point.kind = kind_of(static_cast<BodyFace>(face));
    point.station_mm = scan->station_mm[i];
    point.deviation_mm = std::numeric_limits<float>::quiet_NaN();
    point.sigma_mm = static_cast<float>(scanner.normal_noise_mm);
    points.push_back(point);
  }
  const std::size_t stride = 1 + points.size() / 150'000;
  for (std::size_t i = 0; i < points.size(); i += stride) made.pass.faces.points.push_back(points[i]);
  // The rim as measured: within a tenth of a millimetre of the true corner.
  std::mt19937 random(seed);
  std::normal_distribution<double> jitter(0.0, 0.03);
  for (const TrueStation& station : scan->truth.stations) {
    made.pass.faces.rim.push_back(
        {station.station_mm, station.at_scan_mm + Vector3(jitter(random), jitter(random), jitter(random))});
  }
  return made;
}

}  // namespace rimwright::test
