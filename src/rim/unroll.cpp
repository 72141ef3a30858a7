#include "rim/unroll.h"

#include <algorithm>
#include <array>
#include <cmath>
#include <limits>
#include <numbers>
#include <numeric>
#include <span>
#include <type_traits>
#include <utility>

namespace rimwright {

namespace {

constexpr std::size_t chunk_points = std::size_t{1} << 15;  // what is found of it stays in a core's own cache
constexpr std::size_t stretch_slices =
    4;  // points are brought together by stretches first: few enough to write at once

// One chunk's points near the rim: stretch by stretch, in each in the order of the file. They take the places of the
// chunk's points in the cloud's own arrays: station those of x, out those of y, up those of z.
struct NearPoints {
  std::size_t first = 0;                     // where the chunk begins
  std::vector<std::uint32_t> stretch_begin;  // from there; one a stretch and one more
};

// Which slice a station lies in, and how many there are.
struct Slices {
  double slice_mm;
  float a_mm;  // how many a millimetre
  std::size_t count;
  [[nodiscard]] std::size_t stretches() const { return (count + stretch_slices - 1) / stretch_slices; }
  [[nodiscard]] std::size_t at(float station_mm) const {
    return std::min(count - 1, static_cast<std::size_t>(station_mm * a_mm));
  }
};

class NearFinder {
 public:
  NearFinder(Cloud& cloud, const RimPlaces& places, const Slices& slices, double length_mm)
      : cloud_(cloud), places_(places), slices_(slices), length_mm_(static_cast<float>(length_mm)) {}

  [[nodiscard]] NearPoints find(std::size_t begin, std::size_t end) {
    thread_local std::vector<NearPoint> found;
    found.resize(end - begin);
    std::size_t count = 0;
    constexpr std::size_t most_at_once = 1024;
    std::array<float, most_at_once> station, out, up;
    for (std::size_t first = begin; first < end; first += most_at_once) {
      const std::size_t here = std::min(most_at_once, end - first);
      places_.find({&cloud_.x[first], here}, {&cloud_.y[first], here}, {&cloud_.z[first], here}, {station.data(), here},
                   {out.data(), here}, {up.data(), here});
      for (std::size_t i = 0; i < here; ++i) {
        found[count] = {station[i], out[i], up[i], has_sigma() ? cloud_.sigma_mm[first + i] : 0.0F};
        count += station[i] >= 0.0F && station[i] < length_mm_ ? 1 : 0;
      }
    }
    return sorted({found.data(), count}, begin);
  }

 private:
  struct NearPoint {
    float station, out, up, sigma;
  };

  [[nodiscard]] bool has_sigma() const { return !cloud_.sigma_mm.empty(); }

  // Counting sort by stretch.
  [[nodiscard]] NearPoints sorted(std::span<const NearPoint> found, std::size_t begin) {
    const auto stretch_of = [this](const NearPoint& p) { return slices_.at(p.station) / stretch_slices; };
    NearPoints near{begin, std::vector<std::uint32_t>(slices_.stretches() + 1, 0)};
    for (const NearPoint& p : found) ++near.stretch_begin[stretch_of(p) + 1];
    std::partial_sum(near.stretch_begin.begin(), near.stretch_begin.end(), near.stretch_begin.begin());
    thread_local std::vector<std::uint32_t> next;
    next.assign(near.stretch_begin.begin(), near.stretch_begin.end());
    for (const NearPoint& p : found) {
      const std::size_t place = begin + next[stretch_of(p)]++;
      cloud_.x[place] = p.station;
      cloud_.y[place] = p.out;
      cloud_.z[place] = p.up;
      if (has_sigma()) cloud_.sigma_mm[place] = p.sigma;
    }
    return near;
  }

  Cloud& cloud_;
  const RimPlaces& places_;
  Slices slices_;
  float length_mm_;
};

// Makes room for all points and lays out the bands. Returns where each stretch begins.
std::vector<std::size_t> lay_out(UnrolledRim& rim, const std::vector<NearPoints>& near, const Slices& slices,
                                 bool has_sigma, const UnrollSettings& settings, Workers& workers) {
  std::vector<std::size_t> begin(slices.stretches() + 1, 0);
  for (const NearPoints& points : near)
    for (std::size_t k = 0; k + 1 < begin.size(); ++k)
      begin[k + 1] += points.stretch_begin[k + 1] - points.stretch_begin[k];
  std::partial_sum(begin.begin(), begin.end(), begin.begin());
  const std::size_t total = begin.back();
  rim.band_mm = settings.band_mm;
  rim.first_band_mm = -(settings.below_mm + settings.outside_mm) / std::numbers::sqrt2;
  const double last_mm = (settings.above_mm + settings.inside_mm) / std::numbers::sqrt2;
  rim.band_count = static_cast<std::size_t>((last_mm - rim.first_band_mm) / rim.band_mm) + 1;
  rim.slice_begin.assign(slices.count + 1, total);
  rim.band_begin.assign(slices.count * rim.band_count + 1, total);
  workers.for_chunks(4, 1, [&](std::size_t array, std::size_t, std::size_t) {
    switch (array) {
      case 0: rim.station_mm.resize(total); break;
      case 1: rim.out_mm.resize(total); break;
      case 2: rim.up_mm.resize(total); break;
      default: rim.sigma_mm.resize(has_sigma ? total : 0); break;
    }
  });
  return begin;
}

// Brings each stretch's points together from all chunks, in the chunks' order, and sorts them by slice and band
// (counting sort).
void join_stretches(const Cloud& cloud, const std::vector<NearPoints>& near,
                    const std::vector<std::size_t>& stretch_begin, const Slices& slices, UnrolledRim& rim,
                    Workers& workers) {
  const std::size_t bands = rim.band_count;
  const auto first_band_mm = static_cast<float>(rim.first_band_mm), bands_a_mm = static_cast<float>(1.0 / rim.band_mm),
             last_band = static_cast<float>(bands - 1);
  workers.for_chunks(stretch_begin.size() - 1, 1, [&](std::size_t stretch, std::size_t, std::size_t) {
    thread_local std::vector<std::size_t> next;
    thread_local std::vector<std::uint32_t> cell_of;
    const std::size_t first_slice = stretch * stretch_slices;
    const std::size_t slices_here = std::min(stretch_slices, slices.count - first_slice);
    next.assign(slices_here * bands, 0);
    cell_of.resize(stretch_begin[stretch + 1] - stretch_begin[stretch]);
    const auto for_each_point = [&](const auto& use) {
      std::size_t nth = 0;
      for (const NearPoints& points : near)
        for (std::size_t i = points.stretch_begin[stretch]; i < points.stretch_begin[stretch + 1]; ++i)
          use(points.first + i, nth++);
    };
    for_each_point([&](std::size_t i, std::size_t nth) {
      const float along = (cloud.z[i] - cloud.y[i]) * static_cast<float>(1.0 / std::numbers::sqrt2);
      const float band = std::clamp((along - first_band_mm) * bands_a_mm, 0.0F, last_band);
      const std::size_t cell = (slices.at(cloud.x[i]) - first_slice) * bands + static_cast<std::size_t>(band);
      cell_of[nth] = static_cast<std::uint32_t>(cell);
      ++next[cell];
    });
    std::size_t place = stretch_begin[stretch];
    for (std::size_t cell = 0; cell < next.size(); ++cell) {
      rim.band_begin[first_slice * bands + cell] = place;
      if (cell % bands == 0) rim.slice_begin[first_slice + cell / bands] = place;
      place += std::exchange(next[cell], place);
    }
    for_each_point([&](std::size_t i, std::size_t nth) {
      const std::size_t to = next[cell_of[nth]]++;
      rim.station_mm[to] = cloud.x[i];
      rim.out_mm[to] = cloud.y[i];
      rim.up_mm[to] = cloud.z[i];
      if (!cloud.sigma_mm.empty()) rim.sigma_mm[to] = cloud.sigma_mm[i];
    });
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

RimPlaces::RimPlaces(const RimCurve& curve, const Orientation& orientation, const UnrollSettings& settings)
    : locator_(curve, settings.inside_mm, settings.outside_mm),
      below_mm_(static_cast<float>(-settings.below_mm)),
      above_mm_(static_cast<float>(settings.above_mm)),
      length_mm_(static_cast<float>(curve.length_mm())),
      heights_a_mm_(static_cast<float>(1.0 / settings.slice_mm)),
      T_body_scan_(orientation.T_body_scan.matrix().topRows<3>().cast<float>()) {
  const auto count = static_cast<std::size_t>(std::ceil(curve.length_mm() / settings.slice_mm)) + 1;
  for (std::size_t i = 0; i < count; ++i) {
    const Vector2 corner = curve.point(static_cast<double>(i) * settings.slice_mm);
    heights_mm_.push_back(static_cast<float>(orientation.top.height_mm(corner.x(), corner.y())));
  }
}

void RimPlaces::find(std::span<const float> x_mm, std::span<const float> y_mm, std::span<const float> z_mm,
                     std::span<float> station_mm, std::span<float> out_mm, std::span<float> up_mm) const {
  constexpr std::size_t most_at_once = 1024;
  std::array<float, most_at_once> plan_x, plan_y;
  for (std::size_t first = 0; first < x_mm.size(); first += most_at_once) {
    const std::size_t count = std::min(most_at_once, x_mm.size() - first);
    const float *x = &x_mm[first], *y = &y_mm[first], *z = &z_mm[first];
    float *station = &station_mm[first], *out = &out_mm[first], *up = &up_mm[first];
    const auto along = [&](int axis, float* to) {
      const float a = T_body_scan_(axis, 0), b = T_body_scan_(axis, 1), c = T_body_scan_(axis, 2);
      const float d = T_body_scan_(axis, 3);
      for (std::size_t i = 0; i < count; ++i) to[i] = a * x[i] + b * y[i] + c * z[i] + d;
    };
    along(0, plan_x.data());
    along(1, plan_y.data());
    along(2, up);
    locator_.locate({plan_x.data(), count}, {plan_y.data(), count}, {station, count}, {out, count});
    for (std::size_t i = 0; i < count; ++i) {
      if (std::isnan(station[i])) {
        up[i] = station[i];
        continue;
      }
      up[i] -= height_of_top_mm(station[i]);
      if (!(up[i] >= below_mm_ && up[i] <= above_mm_))
        station[i] = out[i] = up[i] = std::numeric_limits<float>::quiet_NaN();
    }
  }
}

// Linear between the borders of slices.
float RimPlaces::height_of_top_mm(float station_mm) const {
  const float slice = std::clamp(station_mm, 0.0F, length_mm_) * heights_a_mm_;
  const std::size_t k = std::min(heights_mm_.size() - 2, static_cast<std::size_t>(slice));
  return heights_mm_[k] + (slice - static_cast<float>(k)) * (heights_mm_[k + 1] - heights_mm_[k]);
}

UnrolledRim unroll(Cloud& cloud, const Orientation& orientation, const RimCurve& curve, const UnrollSettings& settings,
                   Workers& workers) {
  UnrolledRim rim{.curve = curve,
                  .T_body_scan = orientation.T_body_scan,
                  .top = orientation.top,
                  .top_bend = orientation.top_bend,
                  .slice_mm = settings.slice_mm};
  const Slices slices{settings.slice_mm, static_cast<float>(1.0 / settings.slice_mm),
                      static_cast<std::size_t>(std::ceil(rim.curve.length_mm() / settings.slice_mm))};
  // Chunks are fixed, so the order of points within a slice does not depend on the number of threads.
  const RimPlaces places(curve, orientation, settings);
  NearFinder finder(cloud, places, slices, curve.length_mm());
  std::vector<NearPoints> near((cloud.size() + chunk_points - 1) / chunk_points);
  workers.for_chunks(cloud.size(), chunk_points, [&](std::size_t begin, std::size_t end, std::size_t chunk) {
    near[chunk] = finder.find(begin, end);
  });
  const auto stretch_begin = lay_out(rim, near, slices, !cloud.sigma_mm.empty(), settings, workers);
  join_stretches(cloud, near, stretch_begin, slices, rim, workers);
  const auto give_back = [](auto& values) { std::remove_reference_t<decltype(values)>().swap(values); };
  for (auto* values : {&cloud.x, &cloud.y, &cloud.z, &cloud.sigma_mm}) give_back(*values);
  give_back(cloud.normals);
  give_back(cloud.colours);
  return rim;
}

}  // namespace rimwright
