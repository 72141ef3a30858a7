#include "rim/unroll.h"

#include <algorithm>
#include <cmath>
#include <numbers>
#include <utility>

namespace rimwright {

namespace {

constexpr std::size_t chunk_points = std::size_t{1} << 16;

// Height of the top at the rim, linear between the borders of slices.
struct Heights {
  std::vector<float> at_border_mm;
  double slice_mm;
  [[nodiscard]] double at(double station_mm) const {
    const double slice = station_mm / slice_mm;
    const auto k = std::min(at_border_mm.size() - 2, static_cast<std::size_t>(slice));
    const double share = slice - static_cast<double>(k);
    return (1 - share) * static_cast<double>(at_border_mm[k]) + share * static_cast<double>(at_border_mm[k + 1]);
  }
};

// One chunk's points near the rim, in the order of the file.
struct NearPoints {
  std::vector<float> station, out, up, sigma;
};

// Chunks are fixed, so the order of points within a slice does not depend on the number of threads.
std::vector<NearPoints> find_near(const Cloud& cloud, const UnrolledRim& rim, const RimLocator& locator,
                                  const Heights& heights, const UnrollSettings& settings, Workers& workers) {
  std::vector<NearPoints> near((cloud.size() + chunk_points - 1) / chunk_points);
  const Matrix3 R = rim.T_body_scan.linear();
  const Vector3 t = rim.T_body_scan.translation();
  const double length_mm = rim.curve.length_mm();
  const bool has_sigma = !cloud.sigma_mm.empty();
  constexpr double room_mm = 40.0;  // for the top's height along the rim
  workers.for_chunks(cloud.size(), chunk_points, [&](std::size_t begin, std::size_t end, std::size_t chunk) {
    thread_local NearPoints found;
    for (auto* values : {&found.station, &found.out, &found.up, &found.sigma}) values->clear();
    for (std::size_t i = begin; i < end; ++i) {
      const Vector3 p = R * Vector3(cloud.x[i], cloud.y[i], cloud.z[i]) + t;
      if (p.z() < -settings.below_mm - room_mm || p.z() > settings.above_mm + room_mm) continue;
      const auto foot = locator.locate(p.head<2>());
      if (!foot || foot->station_mm < 0.0 || foot->station_mm >= length_mm) continue;
      const double up = p.z() - heights.at(foot->station_mm);
      if (up < -settings.below_mm || up > settings.above_mm) continue;
      found.station.push_back(static_cast<float>(foot->station_mm));
      found.out.push_back(static_cast<float>(foot->out_mm));
      found.up.push_back(static_cast<float>(up));
      if (has_sigma) found.sigma.push_back(cloud.sigma_mm[i]);
    }
    near[chunk] = found;  // copied, so that it takes no more room than it needs
  });
  return near;
}

// Counting sort by slice, chunk after chunk within a slice. The chunks are used up.
void sort_by_slice(std::vector<NearPoints>& near, UnrolledRim& rim, std::size_t slices, Workers& workers) {
  const auto slice_of = [&](float station) {
    return std::min(slices - 1, static_cast<std::size_t>(static_cast<double>(station) / rim.slice_mm));
  };
  std::vector<std::uint32_t> counts(near.size() * slices, 0);
  workers.for_chunks(near.size(), 1, [&](std::size_t chunk, std::size_t, std::size_t) {
    for (const float station : near[chunk].station) ++counts[chunk * slices + slice_of(station)];
  });
  rim.slice_begin.assign(slices + 1, 0);
  std::size_t total = 0;
  bool has_sigma = false;
  for (std::size_t k = 0; k < slices; ++k) {
    rim.slice_begin[k] = total;
    for (std::size_t chunk = 0; chunk < near.size(); ++chunk) {
      const std::uint32_t before = static_cast<std::uint32_t>(total - rim.slice_begin[k]);
      total += std::exchange(counts[chunk * slices + k], before);
      has_sigma = has_sigma || !near[chunk].sigma.empty();
    }
  }
  rim.slice_begin[slices] = total;
  workers.for_chunks(4, 1, [&](std::size_t array, std::size_t, std::size_t) {
    switch (array) {
      case 0: rim.station_mm.resize(total); break;
      case 1: rim.out_mm.resize(total); break;
      case 2: rim.up_mm.resize(total); break;
      default: rim.sigma_mm.resize(has_sigma ? total : 0); break;
    }
  });
  workers.for_chunks(near.size(), 1, [&](std::size_t chunk, std::size_t, std::size_t) {
    const NearPoints points = std::exchange(near[chunk], {});
    std::uint32_t* next = counts.data() + chunk * slices;
    for (std::size_t i = 0; i < points.station.size(); ++i) {
      const std::size_t slice = slice_of(points.station[i]);
      const std::size_t place = rim.slice_begin[slice] + next[slice]++;
      rim.station_mm[place] = points.station[i];
      rim.out_mm[place] = points.out[i];
      rim.up_mm[place] = points.up[i];
      if (has_sigma) rim.sigma_mm[place] = points.sigma[i];
    }
  });
}

// Within each slice, a counting sort by band.
void sort_by_band(UnrolledRim& rim, const UnrollSettings& settings, Workers& workers) {
  rim.band_mm = settings.band_mm;
  rim.first_band_mm = -(settings.below_mm + settings.outside_mm) / std::numbers::sqrt2;
  const double last_mm = (settings.above_mm + settings.inside_mm) / std::numbers::sqrt2;
  rim.band_count = static_cast<std::size_t>((last_mm - rim.first_band_mm) / rim.band_mm) + 1;
  const std::size_t slices = rim.slice_count(), bands = rim.band_count;
  rim.band_begin.assign(slices * bands + 1, rim.station_mm.size());
  constexpr std::size_t slices_at_once = 16;
  workers.for_chunks(slices, slices_at_once, [&](std::size_t first, std::size_t last, std::size_t) {
    std::vector<std::size_t> next(bands);
    std::vector<std::uint32_t> order;
    std::vector<std::uint16_t> band_of;
    std::vector<float> sorted;
    for (std::size_t slice = first; slice < last; ++slice) {
      const std::size_t begin = rim.slice_begin[slice], count = rim.slice_begin[slice + 1] - begin;
      std::fill(next.begin(), next.end(), 0);
      order.resize(count);
      band_of.resize(count);
      for (std::size_t i = 0; i < count; ++i) {
        const double along = (static_cast<double>(rim.up_mm[begin + i]) - static_cast<double>(rim.out_mm[begin + i])) /
                             std::numbers::sqrt2;
        const double band = std::clamp((along - rim.first_band_mm) / rim.band_mm, 0.0, static_cast<double>(bands - 1));
        band_of[i] = static_cast<std::uint16_t>(band);
        ++next[band_of[i]];
      }
      std::size_t place = 0;
      for (std::size_t band = 0; band < bands; ++band) {
        rim.band_begin[slice * bands + band] = begin + place;
        place += std::exchange(next[band], place);
      }
      for (std::size_t i = 0; i < count; ++i) order[next[band_of[i]]++] = static_cast<std::uint32_t>(i);
      sorted.resize(count);
      for (auto* values : {&rim.station_mm, &rim.out_mm, &rim.up_mm, &rim.sigma_mm}) {
        if (values->empty()) continue;
        float* here = values->data() + begin;
        for (std::size_t i = 0; i < count; ++i) sorted[i] = here[order[i]];
        std::copy(sorted.begin(), sorted.end(), here);
      }
    }
  });
}

}  // namespace

UnrolledRim::Range UnrolledRim::points_between(std::size_t slice, double from_along_mm, double to_along_mm) const {
  if (slice >= slice_count() || !(from_along_mm <= to_along_mm)) return {};
  const double last = static_cast<double>(band_count - 1);
  const auto band = [&](double along_mm) {
    return static_cast<std::size_t>(std::clamp((along_mm - first_band_mm) / band_mm, 0.0, last));
  };
  return {band_begin[slice * band_count + band(from_along_mm)], band_begin[slice * band_count + band(to_along_mm) + 1]};
}

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
  const RimLocator locator(rim.curve, settings.inside_mm, settings.outside_mm, true);
  const auto slices = static_cast<std::size_t>(std::ceil(rim.curve.length_mm() / settings.slice_mm));
  std::vector<float> heights(slices + 1);  // of the top at the rim
  for (std::size_t i = 0; i <= slices; ++i)
    heights[i] = static_cast<float>(rim.rim_height_mm(static_cast<double>(i) * settings.slice_mm));

  const Heights heights_at{std::move(heights), settings.slice_mm};
  std::vector<NearPoints> near = find_near(cloud, rim, locator, heights_at, settings, workers);
  sort_by_slice(near, rim, slices, workers);
  sort_by_band(rim, settings, workers);
  return rim;
}

}  // namespace rimwright
