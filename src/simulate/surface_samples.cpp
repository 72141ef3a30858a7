#include "simulate/surface_samples.h"

#include <algorithm>
#include <array>
#include <cmath>

#include "simulate/random.h"

namespace rimwright {

namespace {

constexpr double slab_mm = 0.01;                        // one random station a slab: well below any sideways noise
constexpr double chunk_mm = 2.0;                        // one random stream and one bound on the area factor a chunk
constexpr std::uint64_t first_chunk_stream = 1u << 20;  // above every other stream of the scanner
constexpr double nudge_mm = 1e-4;                       // for the derivative along the rim

// With out_up = u b + h a the surface is X(s, u) = P + out N + up z, so X_u = b + h_u a and X_s = (1 + k out) T + h_s
// a: the area of du ds is |X_s x X_u| = sqrt((1 + k out)^2 (1 + h_u^2) + h_s^2).
struct Spot {
  double area = 0.0;
  double h = 0.0, slope_u = 0.0, slope_s = 0.0, stretch = 0.0;
  std::size_t curve = 0;
};

class Slice {
 public:
  Slice(const Body& body, double station_mm, const ScannerSpec& spec)
      : here(body.section(station_mm, spec.top_seen_mm, spec.side_seen_mm)),
        before_(body.section(station_mm - nudge_mm)),
        after_(body.section(station_mm + nudge_mm)) {}

  [[nodiscard]] Spot spot(double u) const {
    Spot spot;
    spot.h = here.height(u, &spot.curve);
    const SectionCurve& curve = here.curves[spot.curve];
    spot.slope_u = curve.slope(u);
    const SectionCurve& b = before_.curves[spot.curve];
    const SectionCurve& a = after_.curves[spot.curve];
    if (b.active && a.active) {
      spot.slope_s = (a.height(u) - b.height(u)) / (2.0 * nudge_mm);
    } else if (a.active) {
      spot.slope_s = (a.height(u) - spot.h) / nudge_mm;
    } else if (b.active) {
      spot.slope_s = (spot.h - b.height(u)) / nudge_mm;
    }
    spot.stretch = 1.0 + here.curvature_per_mm * out_up_from_uh({u, spot.h}).x();
    spot.area =
        std::sqrt(spot.stretch * spot.stretch * (1.0 + spot.slope_u * spot.slope_u) + spot.slope_s * spot.slope_s);
    return spot;
  }

  Section here;

 private:
  Section before_, after_;
};

// A bound on the area factor of a chunk, from a few slices; the sampler starts again with a larger one if it is met.
double area_bound(const Body& body, double from_mm, double to_mm, const ScannerSpec& spec) {
  double most = 1.0;
  for (int i = 0; i <= 4; ++i) {
    const Slice slice(body, from_mm + (to_mm - from_mm) * i / 4.0, spec);
    for (int k = 0; k <= 400; ++k) {
      most = std::max(most, slice.spot(slice.here.u_from + (slice.here.u_to - slice.here.u_from) * k / 400.0).area);
    }
  }
  return 1.1 * most + 0.05;
}

// Fills one chunk; false if the bound turned out too small.
bool fill(const Body& body, const ScannerSpec& spec, double from_mm, double to_mm, double bound, Random random,
          std::vector<SurfaceSample>& samples) {
  samples.clear();
  const double densest = std::max(spec.density_per_mm2, spec.far_density_per_mm2);
  const int slabs = std::max(1, static_cast<int>(std::ceil((to_mm - from_mm) / slab_mm)));
  const double width = (to_mm - from_mm) / slabs;
  for (int i = 0; i < slabs; ++i) {
    const double station = from_mm + width * (i + random.uniform());
    const Slice slice(body, station, spec);
    const Section& section = slice.here;
    const Vector2 corner = uh_from_out_up(section.corner);
    const Vector3 along(section.along.x(), section.along.y(), 0.0), out(section.out.x(), section.out.y(), 0.0);
    const std::uint64_t count = random.poisson(densest * bound * width * (section.u_to - section.u_from));
    for (std::uint64_t n = 0; n < count; ++n) {
      const double u = random.uniform(section.u_from, section.u_to);
      const double chance = random.uniform() * bound * densest;
      const Spot spot = slice.spot(u);
      if (!std::isfinite(spot.h)) continue;
      if (spot.area > bound) return false;
      const bool dense = (Vector2(u, spot.h) - corner).norm() <= spec.dense_reach_mm;
      if (chance >= spot.area * (dense ? spec.density_per_mm2 : spec.far_density_per_mm2)) continue;
      const Vector2 p = out_up_from_uh({u, spot.h});
      // X_s x X_u in (T, b, a).
      const Vector2 in_plane = out_up_from_uh({-spot.stretch * spot.slope_u, spot.stretch});
      const Vector3 normal = -spot.slope_s * along + in_plane.x() * out + Vector3(0.0, 0.0, in_plane.y());
      samples.push_back({body.point(section, p), body.mirrored(normal / spot.area).cast<float>(),
                         static_cast<float>(station), section.curves[spot.curve].label});
    }
  }
  return true;
}

}  // namespace

std::vector<SurfaceSample> sample_surface(const Body& body, const ScannerSpec& spec, std::uint64_t seed,
                                          Workers* workers) {
  const bool part = spec.to_mm > spec.from_mm;
  const double from = part ? spec.from_mm : 0.0, to = part ? spec.to_mm : body.rim_length_mm();
  const auto chunks = static_cast<std::size_t>(std::max(1.0, std::ceil((to - from) / chunk_mm)));
  const double length = (to - from) / static_cast<double>(chunks);
  std::vector<std::vector<SurfaceSample>> parts(chunks);
  auto work = [&](std::size_t begin, std::size_t end, std::size_t) {
    for (std::size_t i = begin; i < end; ++i) {
      const double start = from + length * static_cast<double>(i);
      double bound = area_bound(body, start, start + length, spec);
      while (!fill(body, spec, start, start + length, bound, Random(seed, first_chunk_stream + i), parts[i]))
        bound *= 1.5;
    }
  };
  if (workers != nullptr) {
    workers->for_chunks(chunks, 1, work);
  } else {
    work(0, chunks, 0);
  }
  std::vector<SurfaceSample> all;
  std::size_t total = 0;
  for (const auto& p : parts) total += p.size();
  all.reserve(total);
  for (auto& p : parts) {
    all.insert(all.end(), p.begin(), p.end());
    std::vector<SurfaceSample>().swap(p);
  }
  return all;
}

OutlineDistance::OutlineDistance(const Body& body, double every_mm) {
  const int n = std::max(8, static_cast<int>(std::ceil(body.rim_length_mm() / every_mm)));
  for (int i = 0; i <= n; ++i) {
    stations_.push_back(body.rim_length_mm() * i / n);
    points_.push_back(body.outline_at(stations_.back()));
  }
}

OutlineDistance::Nearest OutlineDistance::nearest(const Vector2& plan_mm) const {
  std::size_t best = 0;
  double least = std::numeric_limits<double>::infinity();
  for (std::size_t i = 0; i < points_.size(); ++i) {
    const double d = (plan_mm - points_[i].position_mm).squaredNorm();
    if (d < least) {
      least = d;
      best = i;
    }
  }
  const Vector2 away = plan_mm - points_[best].position_mm;
  const double out = away.dot(points_[best].out);
  return {std::abs(out) < 1e-6 * std::sqrt(least) ? std::sqrt(least) : std::copysign(std::sqrt(least), out),
          stations_[best] + away.dot(points_[best].along)};
}

std::vector<SurfaceSample> sample_inner_top(const Body& body, const ScannerSpec& spec, std::uint64_t seed) {
  std::vector<SurfaceSample> samples;
  if (!body.closed()) return samples;
  const OutlineDistance distance(body);
  Eigen::AlignedBox2d box;
  for (double s = 0.0; s < body.rim_length_mm(); s += 1.0) box.extend(body.outline_at(s).position_mm);
  Random random(seed, 0x70);
  const double radius = body.spec().top.dome_radius_mm;
  const double steepest = 1.05;  // area over plan area on the shallowest dome allowed
  const std::uint64_t count = random.poisson(spec.far_density_per_mm2 * steepest * box.volume());
  const double band = std::min(spec.top_seen_mm, body.spec().top.modelled_inward_mm);
  for (std::uint64_t i = 0; i < count; ++i) {
    const Vector2 plan(random.uniform(box.min().x(), box.max().x()), random.uniform(box.min().y(), box.max().y()));
    const double chance = random.uniform() * steepest;
    Vector3 normal(0.0, 0.0, 1.0);
    if (radius > 0.0) {
      const Vector2 r = (plan - body.spec().top.dome_centre_mm) / radius;
      normal = {r.x(), r.y(), std::sqrt(1.0 - r.squaredNorm())};
    }
    if (chance >= 1.0 / normal.z()) continue;
    const OutlineDistance::Nearest nearest = distance.nearest(plan);
    if (nearest.out_mm > -band) continue;
    samples.push_back({body.mirrored({plan.x(), plan.y(), body.top_height_mm(plan)}),
                       body.mirrored(normal).cast<float>(),
                       static_cast<float>(nearest.station_mm),
                       {BodyFace::top, -1, -1}});
  }
  return samples;
}

}  // namespace rimwright
