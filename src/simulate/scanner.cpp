#include "simulate/scanner.h"

#include <algorithm>
#include <array>
#include <cmath>
#include <limits>
#include <numbers>

#include "simulate/clutter.h"
#include "simulate/random.h"
#include "simulate/surface_samples.h"

namespace rimwright {

namespace {

constexpr double most_points = 60e6;

// A smooth random field of unit variance with covariance exp(-d^2 / (2 length^2)), as a sum of random waves
// (Rahimi and Recht, Random features for large-scale kernel machines, NIPS 2007).
class SmoothField {
 public:
  SmoothField(double length_mm, std::size_t waves, Random& random)
      : scale_(std::sqrt(2.0 / static_cast<double>(waves))) {
    for (std::size_t i = 0; i < waves; ++i) {
      waves_.push_back({Vector3(random.normal(), random.normal(), random.normal()) / length_mm,
                        random.uniform(0.0, 2.0 * std::numbers::pi)});
    }
  }
  [[nodiscard]] double at(const Vector3& p) const {
    double sum = 0.0;
    for (const Wave& wave : waves_) sum += std::cos(wave.k.dot(p) + wave.phase);
    return scale_ * sum;
  }

 private:
  struct Wave {
    Vector3 k;
    double phase;
  };
  double scale_;
  std::vector<Wave> waves_;
};

Transform random_pose(Random& random) {
  // A uniformly random rotation: a normalised 4-vector of normals is a uniform unit quaternion.
  Eigen::Quaterniond q(random.normal(), random.normal(), random.normal(), random.normal());
  q.normalize();
  Transform pose = Transform::Identity();
  pose.linear() = q.toRotationMatrix();
  pose.translation() = Vector3(random.uniform(-500, 500), random.uniform(-500, 500), random.uniform(-500, 500));
  return pose;
}

struct RawPoint {
  Vector3 position_mm;  // body frame, with errors
  Eigen::Vector3f normal;
  float station_mm;
  std::int8_t face;
};

constexpr float no_station = std::numeric_limits<float>::quiet_NaN();

// Adds the errors of the instrument to points on true surfaces.
class Instrument {
 public:
  Instrument(const ScannerSpec& spec, std::uint64_t seed)
      : spec_(spec),
        random_(seed, 0x10),
        correlated_(spec.correlation_length_mm, 96, random_),
        warp_{SmoothField(spec.warp_length_mm, 24, random_), SmoothField(spec.warp_length_mm, 24, random_),
              SmoothField(spec.warp_length_mm, 24, random_)} {}

  [[nodiscard]] Vector3 seen(const Vector3& p, const Vector3& normal) {
    const Vector3 any = std::abs(normal.x()) < 0.8 ? Vector3::UnitX() : Vector3::UnitY();
    const Vector3 t1 = normal.cross(any).normalized(), t2 = normal.cross(t1);
    Vector3 error = spec_.normal_noise_mm * random_.normal() * normal +
                    spec_.sideways_noise_mm * (random_.normal() * t1 + random_.normal() * t2);
    if (spec_.correlated_noise_mm > 0.0) error += spec_.correlated_noise_mm * correlated_.at(p) * normal;
    return p + error + warp_at(p);
  }
  [[nodiscard]] Vector3 warp_at(const Vector3& p) const {
    if (!(spec_.warp_mm > 0.0)) return Vector3::Zero();
    return spec_.warp_mm * Vector3(warp_[0].at(p), warp_[1].at(p), warp_[2].at(p));
  }

 private:
  const ScannerSpec& spec_;
  Random random_;
  SmoothField correlated_;
  std::array<SmoothField, 3> warp_;
};

void add_mixed_points(const ScannerSpec& spec, double rim_mm, Random& random, const std::vector<SurfaceSample>& samples,
                      std::vector<RawPoint>& points) {
  const auto wanted = static_cast<std::size_t>(spec.mixed_share * static_cast<double>(samples.size()));
  if (wanted == 0) return;
  std::size_t made = 0;
  // Samples come in the order of their stations, so a partner across an edge is found within a millimetre of list.
  const auto reach = static_cast<std::uint64_t>(1.0 + static_cast<double>(samples.size()) / rim_mm);
  for (std::size_t tries = 0; made < wanted && tries < 4000 * wanted + 1000; ++tries) {
    const std::size_t i = random.below(samples.size());
    const std::size_t j = std::min(samples.size() - 1, i + 1 + random.below(reach));
    const SurfaceSample &p = samples[i], &q = samples[j];
    const double apart = (p.position_mm - q.position_mm).norm();
    if (p.label == q.label || apart < 0.3 || apart > 2.0) continue;
    const double share = random.uniform();
    points.push_back({p.position_mm + share * (q.position_mm - p.position_mm), p.normal,
                      p.station_mm + static_cast<float>(share) * (q.station_mm - p.station_mm), -1});
    ++made;
  }
}

void add_strays(const ScannerSpec& spec, Random& random, std::vector<RawPoint>& points) {
  const std::size_t body_points = points.size();
  if (body_points == 0) return;
  Eigen::AlignedBox3d box;
  for (const RawPoint& p : points) box.extend(p.position_mm);
  const Vector3 margin = 0.1 * box.sizes();
  const std::uint64_t n = random.poisson(spec.outlier_share * static_cast<double>(body_points));
  for (std::uint64_t i = 0; i < n; ++i) {
    Vector3 p;
    if (i % 2 == 0) {
      Vector3 direction(random.normal(), random.normal(), random.normal());
      p = points[random.below(body_points)].position_mm + random.uniform(0.0, 15.0) * direction.normalized();
    } else {
      for (int axis = 0; axis < 3; ++axis) {
        p[axis] = random.uniform(box.min()[axis] - margin[axis], box.max()[axis] + margin[axis]);
      }
    }
    points.push_back({p, Eigen::Vector3f::UnitZ(), no_station, -1});
  }
}

std::array<std::uint8_t, 3> wood_colour(std::int8_t face, Random& random) {
  const int grain = static_cast<int>(8.0 * random.normal());
  auto shade = [&](int value) { return static_cast<std::uint8_t>(std::clamp(value + grain, 0, 255)); };
  switch (face) {
    case -1: return {shade(120), shade(120), shade(124)};
    case static_cast<int>(BodyFace::top): return {shade(226), shade(196), shade(146)};  // spruce
    case static_cast<int>(BodyFace::side): return {shade(140), shade(88), shade(58)};   // walnut
    default: return {shade(206), shade(172), shade(124)};                               // fresh cut
  }
}

Cloud to_cloud(const std::vector<RawPoint>& points, const ScannerSpec& spec, const Transform& T_scan_body,
               Random& random) {
  Cloud cloud;
  const std::size_t n = points.size();
  Vector3 mean = Vector3::Zero();
  for (const RawPoint& p : points) mean += p.position_mm / static_cast<double>(n);
  cloud.origin_mm = n > 0 ? Vector3((T_scan_body * mean).array().round()) : Vector3::Zero();
  cloud.x.reserve(n);
  cloud.y.reserve(n);
  cloud.z.reserve(n);
  for (const RawPoint& p : points) {
    const Vector3 q = T_scan_body * p.position_mm - cloud.origin_mm;
    cloud.x.push_back(static_cast<float>(q.x()));
    cloud.y.push_back(static_cast<float>(q.y()));
    cloud.z.push_back(static_cast<float>(q.z()));
    if (spec.normals) {
      const Vector3 normal = 127.0 * (T_scan_body.linear() * p.normal.cast<double>());
      cloud.normals.push_back(
          {static_cast<std::uint32_t>(cloud.normals.size()),
           {static_cast<std::int8_t>(std::lround(normal.x())), static_cast<std::int8_t>(std::lround(normal.y())),
            static_cast<std::int8_t>(std::lround(normal.z()))}});
    }
    if (spec.colours) cloud.colours.push_back(wood_colour(p.face, random));
  }
  cloud.scale.factor = spec.mm_per_unit;
  cloud.scale.source = "simulated";
  cloud.counts.points_in_file = n;
  return cloud;
}

Outcome<bool> check(const Body& body, const ScannerSpec& spec) {
  auto bad = [](std::string what, std::string to_do) {
    return refuse(RefusalReason::settings_not_valid, std::move(what), std::move(to_do));
  };
  const double length = body.rim_length_mm();
  if (!(spec.density_per_mm2 > 0.0) || !(spec.far_density_per_mm2 >= 0.0) || !(spec.mm_per_unit > 0.0) ||
      !(spec.normal_noise_mm >= 0.0) || !(spec.sideways_noise_mm >= 0.0) || !(spec.correlation_length_mm > 0.0) ||
      !(spec.warp_length_mm > 0.0) || !(spec.outlier_share >= 0.0 && spec.outlier_share < 1.0) ||
      !(spec.mixed_share >= 0.0 && spec.mixed_share < 1.0) || !(spec.top_seen_mm > 0.0) || !(spec.side_seen_mm > 0.0)) {
    return bad("a scanner setting is negative or zero", "give densities, lengths and noise above zero");
  }
  if (spec.from_mm != spec.to_mm && !(spec.from_mm >= 0.0 && spec.to_mm > spec.from_mm && spec.to_mm <= length)) {
    return bad("the scanned part of the rim lies off it", "give from below to, both on the rim");
  }
  const bool part = spec.to_mm > spec.from_mm;
  const double band = (part ? spec.to_mm - spec.from_mm : length) * (spec.top_seen_mm + spec.side_seen_mm);
  if (band * std::max(spec.density_per_mm2, spec.far_density_per_mm2) > most_points) {
    return bad("the scan would hold more than 60 million points", "lower the density or scan less of the rim");
  }
  return true;
}

}  // namespace

Outcome<SimulatedScan> scan_cloud(const Body& body, const ScannerSpec& spec, std::uint64_t seed, Workers* workers) {
  if (auto checked = check(body, spec); !checked) return tl::unexpected(checked.error());
  Random random(seed, 0x01);
  SimulatedScan scan;
  Transform T_scan_body = Transform::Identity();
  if (spec.T_scan_body) {
    T_scan_body = *spec.T_scan_body;
  } else if (spec.random_pose) {
    T_scan_body = random_pose(random);
  }

  std::vector<SurfaceSample> samples = sample_surface(body, spec, seed, workers);
  if (spec.whole_top) {
    const std::vector<SurfaceSample> inner = sample_inner_top(body, spec, seed);
    samples.insert(samples.end(), inner.begin(), inner.end());
  }
  cut_holes(spec, random, samples);
  const std::vector<Vector3> clamps = place_clamps(body, spec, random, samples);
  const std::vector<Vector3> table = spec.table ? place_table(body, spec, random, samples) : std::vector<Vector3>{};

  Instrument instrument(spec, seed);
  std::vector<RawPoint> points;
  points.reserve(samples.size() + clamps.size() + table.size());
  for (const SurfaceSample& s : samples) {
    points.push_back({instrument.seen(s.position_mm, s.normal.cast<double>()), s.normal, s.station_mm,
                      static_cast<std::int8_t>(s.label.face)});
  }
  const double rim_mm = spec.to_mm > spec.from_mm ? spec.to_mm - spec.from_mm : body.rim_length_mm();
  add_mixed_points(spec, rim_mm, random, samples, points);
  std::vector<SurfaceSample>().swap(samples);
  add_strays(spec, random, points);
  for (const std::vector<Vector3>* clutter : {&clamps, &table}) {
    for (const Vector3& p : *clutter) {
      points.push_back({instrument.seen(p, Vector3::UnitZ()), Eigen::Vector3f::UnitZ(), no_station, -1});
    }
  }
  // The order of a file tells nothing about the rim.
  for (std::size_t i = points.size(); i > 1; --i) std::swap(points[i - 1], points[random.below(i)]);

  scan.cloud = to_cloud(points, spec, T_scan_body, random);
  scan.face.reserve(points.size());
  scan.station_mm.reserve(points.size());
  for (const RawPoint& p : points) {
    scan.face.push_back(p.face);
    scan.station_mm.push_back(p.station_mm);
  }
  TruthSpec truth;
  truth.from_mm = spec.from_mm;
  truth.to_mm = spec.to_mm;
  truth.band_mm = spec.band_mm;
  scan.truth = truth_of(body, T_scan_body, truth);
  // A slow warp carries the rim corner with it; a clamp hides it.
  for (TrueStation& station : scan.truth.stations) {
    for (const ClampSpec& clamp : spec.clamps) {
      const double half = 0.5 * clamp.along_mm;
      if (body.inside_mm(station.station_mm, body.wrapped(clamp.at_mm - half), body.wrapped(clamp.at_mm + half)) >
          0.0) {
        station.hidden = true;
      }
    }
    const Vector3 in_body = T_scan_body.inverse() * station.at_scan_mm;
    station.at_scan_mm = T_scan_body * (in_body + instrument.warp_at(in_body));
  }
  return scan;
}

}  // namespace rimwright
