#include "rim/unroll.h"

#include <algorithm>
#include <cmath>

namespace rimwright {

double UnrolledRim::rim_height_mm(double station) const {
  const Vector2 corner = curve.point(station);
  return top.height_mm(corner.x(), corner.y());
}

Vector3 UnrolledRim::scan_point_mm(double station, double out, double up) const {
  const Vector2 plan = curve.point(station) + out * curve.out(station);
  return T_body_scan.inverse() * Vector3(plan.x(), plan.y(), up + rim_height_mm(station));
}

UnrolledRim unroll(const Cloud& cloud, const Orientation& orientation, const RimCurve& curve,
                   const UnrollSettings& settings, Workers& workers) {
  UnrolledRim rim{
      .curve = curve, .T_body_scan = orientation.T_body_scan, .top = orientation.top, .slice_mm = settings.slice_mm};
  const RimLocator locator(rim.curve, settings.inside_mm, settings.outside_mm);
  const auto slices = static_cast<std::size_t>(std::ceil(rim.curve.length_mm() / settings.slice_mm));
  std::vector<float> heights(slices + 1);
  for (std::size_t i = 0; i <= slices; ++i)
    heights[i] = static_cast<float>(rim.rim_height_mm(static_cast<double>(i) * settings.slice_mm));

  // First pass: rim coordinates of each chunk's points near the rim, in file order. Chunks are fixed, so the order
  // of points within a slice does not depend on the number of threads.
  struct Near {
    float station, out, up, sigma;
  };
  constexpr std::size_t chunk_size = 1 << 16;
  const std::size_t chunks = (cloud.size() + chunk_size - 1) / chunk_size;
  std::vector<std::vector<Near>> near(chunks);
  const Eigen::Matrix3d R = orientation.T_body_scan.linear();
  const Vector3 t = orientation.T_body_scan.translation();
  workers.for_chunks(cloud.size(), chunk_size, [&](std::size_t begin, std::size_t end, std::size_t chunk) {
    auto& kept = near[chunk];
    for (std::size_t i = begin; i < end; ++i) {
      const Vector3 p = R * Vector3(cloud.x[i], cloud.y[i], cloud.z[i]) + t;
      if (p.z() < -settings.below_mm - 40.0 || p.z() > settings.above_mm + 40.0) continue;
      const auto foot = locator.locate(p.head<2>());
      if (!foot || foot->station_mm < 0.0 || foot->station_mm >= rim.curve.length_mm()) continue;
      const double slice = foot->station_mm / settings.slice_mm;
      const auto k = std::min(slices - 1, static_cast<std::size_t>(slice));
      const double share = slice - static_cast<double>(k);
      const double up = p.z() - ((1 - share) * heights[k] + share * heights[k + 1]);
      if (up < -settings.below_mm || up > settings.above_mm) continue;
      kept.push_back({static_cast<float>(foot->station_mm), static_cast<float>(foot->out_mm), static_cast<float>(up),
                      cloud.sigma_mm.empty() ? 0.0F : cloud.sigma_mm[i]});
    }
  });

  // Second pass: counting sort by slice.
  rim.slice_begin.assign(slices + 1, 0);
  const auto slice_of = [&](float station) {
    return std::min(slices - 1, static_cast<std::size_t>(static_cast<double>(station) / settings.slice_mm));
  };
  for (const auto& kept : near)
    for (const auto& p : kept) ++rim.slice_begin[slice_of(p.station) + 1];
  for (std::size_t k = 0; k < slices; ++k) rim.slice_begin[k + 1] += rim.slice_begin[k];
  const std::size_t total = rim.slice_begin.back();
  rim.station_mm.resize(total);
  rim.out_mm.resize(total);
  rim.up_mm.resize(total);
  if (!cloud.sigma_mm.empty()) rim.sigma_mm.resize(total);
  std::vector<std::size_t> next(rim.slice_begin.begin(), rim.slice_begin.end() - 1);
  for (auto& kept : near) {
    for (const auto& p : kept) {
      const std::size_t place = next[slice_of(p.station)]++;
      rim.station_mm[place] = p.station;
      rim.out_mm[place] = p.out;
      rim.up_mm[place] = p.up;
      if (!rim.sigma_mm.empty()) rim.sigma_mm[place] = p.sigma;
    }
    std::vector<Near>().swap(kept);
  }
  return rim;
}

}  // namespace rimwright
