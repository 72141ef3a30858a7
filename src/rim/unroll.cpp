#include "rim/unroll.h"

#include <algorithm>
#include <cmath>
#include <numbers>
#include <numeric>
#include <utility>

namespace rimwright {

namespace {

constexpr std::size_t chunk_points = std::size_t{1} << 16;

// Height of the top at the rim, linear between the borders of slices.
struct Heights {
  std::vector<float> at_border_mm;
  double slices_a_mm;
  [[nodiscard]] double at(double station_mm) const {
    const double slice = station_mm * slices_a_mm;
    const auto k = static_cast<std::size_t>(
        std::min(static_cast<std::ptrdiff_t>(at_border_mm.size()) - 2, static_cast<std::ptrdiff_t>(slice)));
    const double share = slice - static_cast<double>(static_cast<std::ptrdiff_t>(k));
    return (1 - share) * static_cast<double>(at_border_mm[k]) + share * static_cast<double>(at_border_mm[k + 1]);
  }
};

// One chunk's points near the rim: slice by slice, in each slice in the order of the file.
struct NearPoints {
  std::vector<float> station, out, up, sigma;
  std::vector<std::uint32_t> slice_begin;  // one a slice and one more
};

// A point as it is found, before the chunk's are sorted. It lies in a core's own cache until then.
struct Found {
  float station, out, up;
  std::uint32_t slice, index;  // index in the cloud
};

class NearFinder {
 public:
  NearFinder(const Cloud& cloud, const UnrolledRim& rim, const RimLocator& locator, const UnrollSettings& settings,
             std::size_t slices)
      : cloud_(cloud),
        locator_(locator),
        settings_(settings),
        slices_(slices),
        slice_mm_(rim.slice_mm),
        length_mm_(rim.curve.length_mm()),
        R_(rim.T_body_scan.linear()),
        t_(rim.T_body_scan.translation()) {
    std::vector<float> heights(slices + 1);  // of the top at the rim
    for (std::size_t i = 0; i <= slices; ++i)
      heights[i] = static_cast<float>(rim.rim_height_mm(static_cast<double>(i) * settings.slice_mm));
    heights_ = {std::move(heights), 1.0 / settings.slice_mm};
  }

  [[nodiscard]] NearPoints find(std::size_t begin, std::size_t end) const {
    thread_local std::vector<Found> found;
    found.clear();
    constexpr double room_mm = 40.0;  // for the top's height along the rim
    for (std::size_t i = begin; i < end; ++i) {
      const Vector3 p = R_ * Vector3(cloud_.x[i], cloud_.y[i], cloud_.z[i]) + t_;
      if (p.z() < -settings_.below_mm - room_mm || p.z() > settings_.above_mm + room_mm) continue;
      const auto foot = locator_.locate(p.head<2>());
      if (!foot || foot->station_mm < 0.0 || foot->station_mm >= length_mm_) continue;
      const double up = p.z() - heights_.at(foot->station_mm);
      if (up < -settings_.below_mm || up > settings_.above_mm) continue;
      const auto station = static_cast<float>(foot->station_mm);
      found.push_back({station, static_cast<float>(foot->out_mm), static_cast<float>(up), slice_of(station),
                       static_cast<std::uint32_t>(i)});
    }
    return sorted(found);
  }

 private:
  [[nodiscard]] std::uint32_t slice_of(float station) const {
    const auto slice = static_cast<std::int64_t>(static_cast<double>(station) / slice_mm_);
    return static_cast<std::uint32_t>(std::min(static_cast<std::int64_t>(slices_) - 1, slice));
  }

  // Counting sort by slice.
  [[nodiscard]] NearPoints sorted(const std::vector<Found>& found) const {
    NearPoints near;
    near.slice_begin.assign(slices_ + 1, 0);
    for (const Found& point : found) ++near.slice_begin[point.slice + 1];
    std::partial_sum(near.slice_begin.begin(), near.slice_begin.end(), near.slice_begin.begin());
    thread_local std::vector<std::uint32_t> next;
    next.assign(near.slice_begin.begin(), near.slice_begin.end());
    const bool has_sigma = !cloud_.sigma_mm.empty();
    for (auto* values : {&near.station, &near.out, &near.up}) values->resize(found.size());
    near.sigma.resize(has_sigma ? found.size() : 0);
    for (const Found& point : found) {
      const std::size_t place = next[point.slice]++;
      near.station[place] = point.station;
      near.out[place] = point.out;
      near.up[place] = point.up;
      if (has_sigma) near.sigma[place] = cloud_.sigma_mm[point.index];
    }
    return near;
  }

  const Cloud& cloud_;
  const RimLocator& locator_;
  const UnrollSettings& settings_;
  std::size_t slices_;
  double slice_mm_, length_mm_;
  Matrix3 R_;
  Vector3 t_;
  Heights heights_;
};

// Where each slice begins in the whole, and its bands' layout.
void lay_out(UnrolledRim& rim, const std::vector<NearPoints>& near, std::size_t slices, const UnrollSettings& settings,
             Workers& workers) {
  rim.slice_begin.assign(slices + 1, 0);
  bool has_sigma = false;
  for (const NearPoints& points : near) {
    for (std::size_t k = 0; k < slices; ++k)
      rim.slice_begin[k + 1] += points.slice_begin[k + 1] - points.slice_begin[k];
    has_sigma = has_sigma || !points.sigma.empty();
  }
  std::partial_sum(rim.slice_begin.begin(), rim.slice_begin.end(), rim.slice_begin.begin());
  const std::size_t total = rim.slice_begin[slices];
  rim.band_mm = settings.band_mm;
  rim.first_band_mm = -(settings.below_mm + settings.outside_mm) / std::numbers::sqrt2;
  const double last_mm = (settings.above_mm + settings.inside_mm) / std::numbers::sqrt2;
  rim.band_count = static_cast<std::size_t>((last_mm - rim.first_band_mm) / rim.band_mm) + 1;
  rim.band_begin.assign(slices * rim.band_count + 1, total);
  workers.for_chunks(4, 1, [&](std::size_t array, std::size_t, std::size_t) {
    switch (array) {
      case 0: rim.station_mm.resize(total); break;
      case 1: rim.out_mm.resize(total); break;
      case 2: rim.up_mm.resize(total); break;
      default: rim.sigma_mm.resize(has_sigma ? total : 0); break;
    }
  });
}

// Brings each slice's points together from all chunks, in the chunks' order, and sorts them by band (counting sort).
void join_slices(const std::vector<NearPoints>& near, UnrolledRim& rim, Workers& workers) {
  const std::size_t slices = rim.slice_count(), bands = rim.band_count;
  constexpr std::size_t slices_at_once = 16;
  workers.for_chunks(slices, slices_at_once, [&](std::size_t first, std::size_t last, std::size_t) {
    std::vector<std::size_t> next(bands);
    std::vector<std::uint16_t> band_of;
    for (std::size_t slice = first; slice < last; ++slice) {
      const std::size_t begin = rim.slice_begin[slice];
      std::fill(next.begin(), next.end(), 0);
      band_of.clear();
      for (const NearPoints& points : near)
        for (std::size_t i = points.slice_begin[slice]; i < points.slice_begin[slice + 1]; ++i) {
          const double along =
              (static_cast<double>(points.up[i]) - static_cast<double>(points.out[i])) / std::numbers::sqrt2;
          const double band =
              std::clamp((along - rim.first_band_mm) / rim.band_mm, 0.0, static_cast<double>(bands - 1));
          band_of.push_back(static_cast<std::uint16_t>(static_cast<int>(band)));
          ++next[band_of.back()];
        }
      std::size_t place = begin;
      for (std::size_t band = 0; band < bands; ++band) {
        rim.band_begin[slice * bands + band] = place;
        place += std::exchange(next[band], place);
      }
      std::size_t nth = 0;
      for (const NearPoints& points : near)
        for (std::size_t i = points.slice_begin[slice]; i < points.slice_begin[slice + 1]; ++i) {
          const std::size_t to = next[band_of[nth++]]++;
          rim.station_mm[to] = points.station[i];
          rim.out_mm[to] = points.out[i];
          rim.up_mm[to] = points.up[i];
          if (!points.sigma.empty()) rim.sigma_mm[to] = points.sigma[i];
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
  // Chunks are fixed, so the order of points within a slice does not depend on the number of threads.
  const NearFinder finder(cloud, rim, locator, settings, slices);
  std::vector<NearPoints> near((cloud.size() + chunk_points - 1) / chunk_points);
  workers.for_chunks(cloud.size(), chunk_points, [&](std::size_t begin, std::size_t end, std::size_t chunk) {
    near[chunk] = finder.find(begin, end);
  });
  lay_out(rim, near, slices, settings, workers);
  join_slices(near, rim, workers);
  return rim;
}

}  // namespace rimwright
