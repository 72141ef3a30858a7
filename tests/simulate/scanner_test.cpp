#include "simulate/scanner.h"

#include <gtest/gtest.h>

#include <Eigen/Eigenvalues>
#include <algorithm>
#include <map>
#include <tuple>

#include "bodies.h"
#include "simulate/mesh.h"

namespace rimwright {
namespace {

ScannerSpec clean() {
  ScannerSpec spec;
  spec.normal_noise_mm = spec.sideways_noise_mm = spec.outlier_share = 0.0;
  spec.far_density_per_mm2 = spec.density_per_mm2 = 5.0;
  return spec;
}

SimulatedScan scanned(const Body& body, const ScannerSpec& spec, std::uint64_t seed) {
  auto scan = scan_cloud(body, spec, seed);
  if (!scan) {
    ADD_FAILURE() << scan.error().sentence();
    return {};
  }
  return std::move(*scan);
}

BodySpec short_body() {
  BodySpec spec = test::plain_bevelled(120.0);
  spec.bevel->from_mm = 10.0;
  spec.bevel->to_mm = 110.0;
  spec.bevel->start_run_out_mm = spec.bevel->end_run_out_mm = 30.0;
  return spec;
}

TEST(Scanner, SameSeedSameScanForAnyNumberOfThreads) {
  const Body body = test::made(short_body());
  ScannerSpec spec = clean();
  spec.normal_noise_mm = 0.04;
  Workers three(3);
  const auto alone = scan_cloud(body, spec, 7), threaded = scan_cloud(body, spec, 7, &three),
             other = scan_cloud(body, spec, 8);
  ASSERT_TRUE(alone && threaded && other);
  EXPECT_EQ(alone->cloud.x, threaded->cloud.x);
  EXPECT_EQ(alone->cloud.z, threaded->cloud.z);
  EXPECT_NE(alone->cloud.x, other->cloud.x);
}

// The area of each face in each stretch of rim, from the triangles of a mesh that shares no formula with the sampler.
TEST(Scanner, PointsAreUniformInTrueArea) {
  BodySpec body_spec = test::rich();
  body_spec.defects.push_back(body_spec.defects[8]);  // a steeper hump yet
  body_spec.defects.back().size = 1.5;
  body_spec.defects.back().at_mm = 180.0;  // on a run-out
  const Body body = test::made(body_spec);
  const BodyMesh mesh = mesh_body(body);
  using Bin = std::tuple<int, int, int, int>;  // stretch of 12 mm, face, channel, step
  auto bin_of = [](double station, const SurfaceLabel& label) {
    return Bin(static_cast<int>(station / 12.0), static_cast<int>(label.face), label.channel, label.step);
  };
  std::map<std::pair<int, int>, double> area;  // stretch, face
  for (std::size_t i = 0; i < mesh.triangles.size(); ++i) {
    const auto& t = mesh.triangles[i];
    const Vector3 a = mesh.vertices[t[0]].cast<double>(), b = mesh.vertices[t[1]].cast<double>(),
                  c = mesh.vertices[t[2]].cast<double>();
    const double middle = (mesh.station_mm[t[0]] + mesh.station_mm[t[1]] + mesh.station_mm[t[2]]) / 3.0;
    const Bin bin = bin_of(middle, mesh.labels[i]);
    area[{std::get<0>(bin), std::get<1>(bin)}] += 0.5 * (b - a).cross(c - a).norm();
  }
  ScannerSpec spec = clean();
  spec.top_seen_mm = body.spec().top.modelled_inward_mm;
  spec.side_seen_mm = body.spec().side.height_mm;
  spec.density_per_mm2 = spec.far_density_per_mm2 = 8.0;
  constexpr std::uint64_t seed = 20;
  const SimulatedScan scan = scanned(body, spec, seed);
  std::map<std::pair<int, int>, double> count;
  for (std::size_t i = 0; i < scan.face.size(); ++i) {
    count[{static_cast<int>(scan.station_mm[i] / 12.0f), scan.face[i]}] += 1.0;
  }
  double chi2 = 0.0, total_expected = 0.0, total_counted = 0.0;
  int bins = 0;
  for (const auto& [bin, square_mm] : area) {
    const double expected = 8.0 * square_mm;
    total_expected += expected;
    total_counted += count[bin];
    if (expected < 25.0) continue;  // too few for the normal approximation
    chi2 += (count[bin] - expected) * (count[bin] - expected) / expected;
    ++bins;
  }
  // Triangles are put in the bin of their middle: at a bin's edge that moves up to half a row (0.3 mm of 12), but the
  // rows of neighbouring bins tile, so only rows that straddle an edge matter; 12 mm is a multiple of no row, which
  // adds at most (0.3 / 12 / sqrt 3)^2 * expected to each term. It is allowed for below.
  double slack = 0.0;
  for (const auto& [bin, square_mm] : area) {
    if (8.0 * square_mm >= 25.0) slack += std::pow(0.3 / 12.0 / std::sqrt(3.0), 2) * 8.0 * square_mm;
  }
  EXPECT_GT(bins, 300);
  // Chi-square of independent Poisson counts: mean = bins, variance 2 bins (and a little for small counts). 4.5 sigma.
  EXPECT_NEAR(chi2, bins, 4.5 * std::sqrt(2.0 * bins) + slack) << "seed " << seed;
  EXPECT_NEAR(total_counted, total_expected, 4.0 * std::sqrt(total_expected) + 0.0002 * total_expected);
}

TEST(Scanner, CleanPointsLieOnTheSurfaceAndNormalsAreSquareToIt) {
  const Body body = test::made(short_body());
  ScannerSpec spec = clean();
  spec.normals = true;
  const SimulatedScan scan = scanned(body, spec, 3);
  ASSERT_EQ(scan.cloud.normals.size(), scan.cloud.size());
  for (std::size_t i = 0; i < scan.cloud.size(); i += 17) {
    const Section section = body.section(scan.station_mm[i]);
    const Vector3 p = scan.cloud.point_mm(i);
    const Vector2 plan = p.head<2>() - section.position_mm;
    const Vector2 uh = uh_from_out_up({plan.dot(section.out), p.z()});
    // Station and coordinates are floats: 1e-5 mm at 100 mm.
    ASSERT_NEAR(uh.y(), section.height(uh.x()), 1e-4) << "station " << section.station_mm;
    // Two steps in the surface from the point, by differences of whole sections.
    const auto& n8 = scan.cloud.normals[i].times_127;
    const Vector3 n = Vector3(n8[0], n8[1], n8[2]) / 127.0;
    std::size_t here = 0, there = 0;
    const double h1 = section.height(uh.x(), &here);
    const Section next = body.section(section.station_mm + 0.001);
    const double h2 = next.height(uh.x(), &there);
    if (here != there) continue;  // a crease in between
    const Vector3 step_along =
        next.to_body(out_up_from_uh({uh.x(), h2})) - section.to_body(out_up_from_uh({uh.x(), h1}));
    EXPECT_NEAR(n.dot(step_along.normalized()), 0.0, 0.012);  // normals are rounded to 1/127
    EXPECT_GT(n.dot(Vector3(section.out.x(), section.out.y(), 1.0)), 0.0);
  }
}

// The whole way round: lines fitted to the points of a section, in the scan's own pose, against the truth beside it.
// Domed top, leaning side, waist, channels and all: what the truth says is what the points show.
TEST(Scanner, PointsShowWhatTheTruthSays) {
  BodySpec body_spec = test::rich();
  body_spec.defects.erase(body_spec.defects.begin() + 5, body_spec.defects.end());  // drift, wave and both edges stay
  body_spec.defects.erase(body_spec.defects.begin() + 2);                           // a crowned face is no line
  for (const bool left_handed : {false, true}) {
    body_spec.left_handed = left_handed;
    const Body body = test::made(body_spec);
    ScannerSpec spec = clean();
    spec.random_pose = true;
    spec.from_mm = 230.0;
    spec.to_mm = 480.0;
    spec.density_per_mm2 = 24.0;
    const SimulatedScan scan = scanned(body, spec, 11);
    int compared = 0;
    for (std::size_t i = 5; i + 5 < scan.truth.stations.size(); i += 5) {
      const TrueStation& truth = scan.truth.stations[i];
      // The section's frame from the truth's own rim curve: along from its neighbours, up from the pose.
      const Vector3 up = scan.truth.T_scan_body.linear() * Vector3::UnitZ();
      Vector3 along = scan.truth.stations[i + 1].at_scan_mm - scan.truth.stations[i - 1].at_scan_mm;
      along = (along - along.dot(up) * up).normalized();
      const Vector3 out = left_handed ? Vector3(up.cross(along)) : Vector3(along.cross(up));
      std::vector<Vector2> side, bevel;
      for (std::size_t k = 0; k < scan.cloud.size(); ++k) {
        if (std::abs(scan.station_mm[k] - truth.station_mm) > 0.1) continue;
        const Vector3 away = scan.cloud.point_mm(k) - truth.at_scan_mm;
        const Vector2 p(away.dot(out), away.dot(up));
        if (scan.face[k] == static_cast<int>(BodyFace::side)) side.push_back(p);
        if (scan.face[k] == static_cast<int>(BodyFace::bevel)) bevel.push_back(p);
      }
      ASSERT_GT(side.size(), 50u);
      ASSERT_GT(bevel.size(), 30u);
      auto direction_and_mean = [](const std::vector<Vector2>& points) {
        Vector2 mean = Vector2::Zero();
        for (const Vector2& p : points) mean += p / static_cast<double>(points.size());
        Eigen::Matrix2d spread = Eigen::Matrix2d::Zero();
        for (const Vector2& p : points) spread += (p - mean) * (p - mean).transpose();
        const Eigen::SelfAdjointEigenSolver<Eigen::Matrix2d> solver(spread);
        return std::pair<Vector2, Vector2>(solver.eigenvectors().col(1), mean);
      };
      auto [down, on_side] = direction_and_mean(side);
      auto [inward, on_bevel] = direction_and_mean(bevel);
      if (down.y() > 0.0) down = -down;
      if (inward.x() > 0.0) inward = -inward;
      const double angle = degrees_from_radians(std::acos(inward.dot(down)));
      // Lower edge: where the lines meet; the drop is down the side from the rim corner, which lies on the side.
      Eigen::Matrix2d lines;
      lines << down, -inward;
      const Vector2 solved = lines.inverse() * (on_bevel - on_side);
      const Vector2 lower = on_side + solved.x() * down;
      // Points within 0.1 mm of rim; waves of 0.44 mm on 34 mm change by 0.04 mm a millimetre at most, the drift by
      // 0.07 deg a millimetre, the edges' wander by 0.04 mm over 29 mm a millimetre: half of 0.1 mm of each.
      EXPECT_NEAR(angle, truth.angle_deg, 0.012) << truth.station_mm;
      EXPECT_NEAR(lower.norm(), truth.drop_mm, 0.008) << truth.station_mm;
      ++compared;
    }
    EXPECT_GT(compared, 40);
  }
}

// With one seed the samples do not depend on the noise, so differences of two scans are the noise itself.
TEST(Scanner, WhiteNoiseHasTheStatedSizesAlongAndAcrossTheNormal) {
  const Body body = test::made(short_body());
  ScannerSpec spec = clean();
  const SimulatedScan without = scanned(body, spec, 4);
  for (const double sigma : {0.04, 0.15}) {
    spec.normal_noise_mm = sigma;
    spec.sideways_noise_mm = 0.3 * sigma;
    const SimulatedScan with = scanned(body, spec, 4);
    ASSERT_EQ(with.cloud.size(), without.cloud.size());
    double along = 0.0, across = 0.0;
    for (std::size_t i = 0; i < with.cloud.size(); ++i) {
      const Section section = body.section(without.station_mm[i]);
      const Vector3 p = without.cloud.point_mm(i), error = with.cloud.point_mm(i) - p;
      // On the flat top the normal is up; elsewhere the total is compared only.
      if (without.face[i] == static_cast<int>(BodyFace::top)) {
        along += error.z() * error.z();
        across += error.head<2>().squaredNorm();
      }
    }
    const auto n = static_cast<double>(std::count(without.face.begin(), without.face.end(), 1));
    ASSERT_GT(n, 10000.0);
    // A variance estimated from n normals has relative standard deviation sqrt(2/n). 4 sigma, both.
    EXPECT_NEAR(along / n, sigma * sigma, sigma * sigma * 4.0 * std::sqrt(2.0 / n));
    EXPECT_NEAR(across / n, 2.0 * 0.09 * sigma * sigma, 2.0 * 0.09 * sigma * sigma * 4.0 * std::sqrt(1.0 / n));
  }
}

TEST(Scanner, CorrelatedNoiseHasTheStatedCovariance) {
  const Body body = test::made(short_body());
  ScannerSpec spec = clean();
  spec.density_per_mm2 = spec.far_density_per_mm2 = 0.5;
  double variance = 0.0, at_lag = 0.0;
  constexpr int seeds = 40;
  constexpr double sigma = 0.1, length = 6.0;
  for (int seed = 0; seed < seeds; ++seed) {
    spec.correlated_noise_mm = 0.0;
    const SimulatedScan without = scanned(body, spec, static_cast<std::uint64_t>(seed));
    spec.correlated_noise_mm = sigma;
    spec.correlation_length_mm = length;
    const SimulatedScan with = scanned(body, spec, static_cast<std::uint64_t>(seed));
    double square = 0.0, product = 0.0;
    std::size_t n = 0, pairs = 0;
    std::vector<std::pair<Vector3, double>> top;
    for (std::size_t i = 0; i < with.cloud.size(); ++i) {
      if (without.face[i] != static_cast<int>(BodyFace::top)) continue;
      const double e = (with.cloud.point_mm(i) - without.cloud.point_mm(i)).z();
      square += e * e;
      ++n;
      if (top.size() < 1500) top.emplace_back(without.cloud.point_mm(i), e);
    }
    for (std::size_t i = 0; i < top.size(); ++i) {
      for (std::size_t j = i + 1; j < top.size(); ++j) {
        if (std::abs((top[i].first - top[j].first).norm() - length) > 0.1) continue;
        product += top[i].second * top[j].second;
        ++pairs;
      }
    }
    variance += square / static_cast<double>(n) / seeds;
    at_lag += product / static_cast<double>(pairs) / seeds;
  }
  // One field over the top (120 x 60 mm) has about 120 * 60 / (2 pi 36) = 32 independent cells, 40 seeds 1270: the
  // variance is known to sqrt(2/1270) = 4 %, and the finite number of waves adds sqrt(1/96/40) = 1.6 %. 4 sigma: 17 %.
  EXPECT_NEAR(variance, sigma * sigma, 0.17 * sigma * sigma);
  EXPECT_NEAR(at_lag, sigma * sigma * std::exp(-0.5), 0.17 * sigma * sigma);
}

TEST(Scanner, LeftHandedScanIsTheMirrorImage) {
  BodySpec body_spec = test::rich();
  ScannerSpec spec = clean();
  spec.density_per_mm2 = spec.far_density_per_mm2 = 0.3;
  const SimulatedScan right = scanned(test::made(body_spec), spec, 5);
  body_spec.left_handed = true;
  const SimulatedScan left = scanned(test::made(body_spec), spec, 5);
  ASSERT_EQ(right.cloud.size(), left.cloud.size());
  for (std::size_t i = 0; i < right.cloud.size(); i += 11) {
    const Vector3 p = right.cloud.point_mm(i), q = left.cloud.point_mm(i);
    ASSERT_NEAR((Vector3(-p.x(), p.y(), p.z()) - q).norm(), 0.0, 1e-4);
  }
  ASSERT_EQ(right.truth.stations.size(), left.truth.stations.size());
  EXPECT_NEAR(right.truth.stations[300].at_scan_mm.x(), -left.truth.stations[300].at_scan_mm.x(), 1e-9);
  EXPECT_EQ(right.truth.stations[300].angle_deg, left.truth.stations[300].angle_deg);
}

TEST(Scanner, PoseMovesPointsAndTruthTogether) {
  const Body body = test::made(short_body());
  ScannerSpec spec = clean();
  const SimulatedScan still = scanned(body, spec, 6);
  spec.T_scan_body = Transform(Eigen::Translation3d(1000.0, -2000.0, 300.0) *
                               Eigen::AngleAxisd(2.1, Vector3(1.0, 2.0, -0.5).normalized()));
  const SimulatedScan moved = scanned(body, spec, 6);
  ASSERT_EQ(still.cloud.size(), moved.cloud.size());
  for (std::size_t i = 0; i < still.cloud.size(); i += 101) {
    ASSERT_NEAR((spec.T_scan_body->inverse() * moved.cloud.point_mm(i) - still.cloud.point_mm(i)).norm(), 0.0, 1e-4);
  }
  for (std::size_t i = 0; i < still.truth.stations.size(); ++i) {
    EXPECT_NEAR((*spec.T_scan_body * still.truth.stations[i].at_scan_mm - moved.truth.stations[i].at_scan_mm).norm(),
                0.0, 1e-9);
  }
  spec.T_scan_body.reset();
  spec.random_pose = true;
  const SimulatedScan tossed = scanned(body, spec, 6), tossed_again = scanned(body, spec, 7);
  EXPECT_NEAR(tossed.truth.T_scan_body.linear().determinant(), 1.0, 1e-12);
  EXPECT_GT((tossed.truth.T_scan_body.matrix() - tossed_again.truth.T_scan_body.matrix()).norm(), 1.0);
}

TEST(Scanner, StraysMixedPointsHolesClampsTableAndCoverage) {
  BodySpec body_spec = short_body();
  const Body body = test::made(body_spec);
  ScannerSpec spec = clean();
  const double plain = static_cast<double>(scanned(body, spec, 8).cloud.size());

  ScannerSpec strays = spec;
  strays.outlier_share = 0.02;
  const SimulatedScan with_strays = scanned(body, strays, 8);
  const auto stray_count = static_cast<double>(std::count(with_strays.face.begin(), with_strays.face.end(), -1));
  EXPECT_NEAR(stray_count, 0.02 * plain, 4.0 * std::sqrt(0.02 * plain));

  ScannerSpec mixed = spec;
  mixed.mixed_share = 0.01;
  const SimulatedScan with_mixed = scanned(body, mixed, 8);
  EXPECT_EQ(std::count(with_mixed.face.begin(), with_mixed.face.end(), -1), static_cast<int>(0.01 * plain));
  for (std::size_t i = 0; i < with_mixed.face.size(); ++i) {
    if (with_mixed.face[i] != -1) continue;
    // A chord between two faces of a convex rim lies in the wood, at most half a chord below the edge.
    const Section section = body.section(with_mixed.station_mm[i]);
    const Vector3 p = with_mixed.cloud.point_mm(i);
    const Vector2 uh = uh_from_out_up({(p.head<2>() - section.position_mm).dot(section.out), p.z()});
    EXPECT_LT(uh.y(), section.height(uh.x()) + 0.01);
    EXPECT_GT(uh.y(), section.height(uh.x()) - 1.5);
  }

  ScannerSpec holes = spec;
  holes.holes = 3;
  holes.hole_radius_mm = 5.0;
  const double lost = plain - static_cast<double>(scanned(body, holes, 8).cloud.size());
  const double one_hole = 5.0 * std::numbers::pi * 25.0;  // density times area, on a flat face away from edges
  EXPECT_GT(lost, 0.4 * one_hole);                        // at least a half disc at an end
  EXPECT_LT(lost, 3.0 * 1.6 * one_hole);                  // around an edge two half discs show at most

  ScannerSpec clamped = spec;
  clamped.clamps = {{60.0}};
  const SimulatedScan with_clamp = scanned(body, clamped, 8);
  for (const TrueStation& s : with_clamp.truth.stations) {
    EXPECT_EQ(s.hidden, std::abs(s.station_mm - 60.0) < 15.0) << s.station_mm;  // a clamp is 30 mm wide
  }
  int on_clamp = 0;
  for (std::size_t i = 0; i < with_clamp.face.size(); ++i) {
    if (with_clamp.face[i] == -1) {
      ++on_clamp;
      continue;
    }
    const Section section = body.section(with_clamp.station_mm[i]);
    const Vector3 p = with_clamp.cloud.point_mm(i);
    const double out = (p.head<2>() - section.position_mm).dot(section.out);
    EXPECT_FALSE(std::abs(with_clamp.station_mm[i] - 60.0f) < 12.0f && out > -20.0 && p.z() > -38.0);
  }
  EXPECT_GT(on_clamp, 1000);

  ScannerSpec tabled = spec;
  tabled.table = true;
  const SimulatedScan with_table = scanned(body, tabled, 8);
  for (std::size_t i = 0; i < with_table.face.size(); ++i) {
    if (with_table.face[i] != -1) continue;
    ASSERT_NEAR(with_table.cloud.point_mm(i).z(), -spec.side_seen_mm - 2.0, 0.01);
  }
  EXPECT_GT(std::count(with_table.face.begin(), with_table.face.end(), -1), 5000);

  ScannerSpec partial = spec;
  partial.from_mm = 30.0;
  partial.to_mm = 70.0;
  const SimulatedScan piece = scanned(body, partial, 8);
  const auto [first, last] = std::minmax_element(piece.station_mm.begin(), piece.station_mm.end());
  EXPECT_NEAR(*first, 30.0, 0.02);
  EXPECT_NEAR(*last, 70.0, 0.02);
  EXPECT_NEAR(piece.truth.stations.front().station_mm, 30.0, 1e-9);
  EXPECT_NEAR(piece.truth.stations.back().station_mm, 70.0, 1e-9);
}

TEST(Scanner, WholeTopFillsTheInsideAtTheFarDensity) {
  const Body body = test::made(test::rich());
  ScannerSpec spec = clean();
  spec.density_per_mm2 = spec.far_density_per_mm2 = 0.5;
  const SimulatedScan band = scanned(body, spec, 9);
  spec.whole_top = true;
  const SimulatedScan whole = scanned(body, spec, 9);
  // Area of the outline offset inward by 60 mm: closed curve, A - L d + pi d^2 (Steiner), for curvature below 1/d.
  double area = 0.0;
  const int n = 20000;
  for (int i = 0; i < n; ++i) {
    const Vector2 p = body.outline_at(body.rim_length_mm() * i / n).position_mm;
    const Vector2 q = body.outline_at(body.rim_length_mm() * (i + 1) / n).position_mm;
    area += 0.5 * (p.x() * q.y() - p.y() * q.x());
  }
  const double inner = area - body.rim_length_mm() * 60.0 + std::numbers::pi * 3600.0;
  const double expected = 0.5 * inner;
  ASSERT_GT(expected, 1000.0);
  // The dome (4.5 m) adds (r/R)^2/2 of area, 0.1 % at 190 mm.
  EXPECT_NEAR(static_cast<double>(whole.cloud.size() - band.cloud.size()), expected,
              4.0 * std::sqrt(expected) + 0.002 * expected);
}

TEST(Scanner, RefusesWhatCannotBeScanned) {
  const Body body = test::made(short_body());
  ScannerSpec spec;
  spec.density_per_mm2 = 1e6;
  EXPECT_FALSE(scan_cloud(body, spec, 1));
  spec = {};
  spec.from_mm = 50.0;
  spec.to_mm = 500.0;
  EXPECT_FALSE(scan_cloud(body, spec, 1));
  spec = {};
  spec.normal_noise_mm = -1.0;
  EXPECT_FALSE(scan_cloud(body, spec, 1));
}

}  // namespace
}  // namespace rimwright
