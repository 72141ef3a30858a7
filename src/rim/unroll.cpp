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

#include "core/wide_loops.h"
#include "rim/deep_share.h"

namespace rimwright {

namespace {

constexpr std::size_t chunk_points = std::size_t{1} << 15;  // what is found of it stays in a core's own cache
constexpr std::size_t stretch_slices =
    4;  // points are brought together by stretches first: few enough to write at once

constexpr std::size_t most_at_once = 1024;  // points worked through in loops over few operations each

// One chunk's points near the rim: stretch by stretch, in each in the order of the file. They take the places of the
// chunk's points in the cloud's own arrays: station those of x, out those of y, up those of z.
struct NearPoints {
  std::size_t first = 0;                     // where the chunk begins
  std::vector<std::uint32_t> stretch_begin;  // from there; one a stretch and one more
};

// Slices and the bands in them, counted through as cells: of a stretch fewer than 2^16, as the settings' limits have
// it.
struct CellLayout {
  std::size_t slices, bands;
  float slices_a_mm, first_band_mm, bands_a_mm;

  CellLayout(double length_mm, const UnrolledRim& rim)
      : slices(static_cast<std::size_t>(std::ceil(length_mm / rim.slice_mm))),
        bands(rim.band_count),
        slices_a_mm(static_cast<float>(1.0 / rim.slice_mm)),
        first_band_mm(static_cast<float>(rim.first_band_mm)),
        bands_a_mm(static_cast<float>(1.0 / rim.band_mm)) {}

  [[nodiscard]] std::size_t stretches() const { return (slices + stretch_slices - 1) / stretch_slices; }
  [[nodiscard]] std::size_t cells_a_stretch() const { return stretch_slices * bands; }

  // The stretch of each of some points, and the cell in it.
  void place(std::span<const float> station_mm, std::span<const float> out_mm, std::span<const float> up_mm,
             std::uint16_t* stretch, std::uint16_t* cell) const {
    const auto last_slice = static_cast<float>(slices - 1), last_band = static_cast<float>(bands - 1);
    const auto bands_a_slice = static_cast<std::int32_t>(bands);
    for (std::size_t i = 0; i < station_mm.size(); ++i) {
      const float in_slices = station_mm[i] * slices_a_mm;
      const auto slice = static_cast<std::int32_t>(in_slices < last_slice ? in_slices : last_slice);
      const float along = (up_mm[i] - out_mm[i]) * static_cast<float>(1.0 / std::numbers::sqrt2);
      const float in_bands = (along - first_band_mm) * bands_a_mm;
      const float band = in_bands > 0.0F ? (in_bands < last_band ? in_bands : last_band) : 0.0F;
      constexpr auto in_stretch = static_cast<std::int32_t>(stretch_slices);
      stretch[i] = static_cast<std::uint16_t>(slice / in_stretch);
      cell[i] = static_cast<std::uint16_t>(slice % in_stretch * bands_a_slice + static_cast<std::int32_t>(band));
    }
  }
};

class NearFinder {
 public:
  // `cells` gets a number a point of the cloud.
  NearFinder(Cloud& cloud, const RimPlaces& places, const DeepShare& deep, const CellLayout& layout, double length_mm,
             PlainArray<std::uint16_t>& cells)
      : cloud_(cloud),
        places_(places),
        deep_(deep),
        layout_(layout),
        length_mm_(static_cast<float>(length_mm)),
        cells_(cells) {}

  [[nodiscard]] NearPoints find(std::size_t begin, std::size_t end) {
    thread_local Found found;
    found.resize(end - begin);
    std::size_t count = 0;
    std::array<float, most_at_once> station, out, up;
    for (std::size_t first = begin; first < end; first += most_at_once) {
      const std::size_t here = std::min(most_at_once, end - first);
      places_.find({&cloud_.x[first], here}, {&cloud_.y[first], here}, {&cloud_.z[first], here}, {station.data(), here},
                   {out.data(), here}, {up.data(), here});
      for (std::size_t i = 0; i < here; ++i) {
        found.station[count] = station[i];
        found.out[count] = out[i];
        found.up[count] = up[i];
        if (has_sigma()) found.sigma[count] = cloud_.sigma_mm[first + i];
        count += (station[i] >= 0.0F ? 1U : 0U) & (station[i] < length_mm_ ? 1U : 0U) & deep_.keeps(first + i, up[i]);
      }
    }
    layout_.place({found.station.data(), count}, {found.out.data(), count}, {found.up.data(), count},
                  found.stretch.data(), found.cell.data());
    return sorted(found, count, begin);
  }

 private:
  struct Found {
    std::vector<float> station, out, up, sigma;
    std::vector<std::uint16_t> stretch, cell;
    void resize(std::size_t count) {
      for (auto* values : {&station, &out, &up, &sigma}) values->resize(count);
      for (auto* values : {&stretch, &cell}) values->resize(count);
    }
  };

  [[nodiscard]] bool has_sigma() const { return !cloud_.sigma_mm.empty(); }

  // Counting sort by stretch.
  [[nodiscard]] NearPoints sorted(const Found& found, std::size_t count, std::size_t begin) {
    NearPoints near{begin, std::vector<std::uint32_t>(layout_.stretches() + 1, 0)};
    for (std::size_t i = 0; i < count; ++i) ++near.stretch_begin[found.stretch[i] + 1];
    std::partial_sum(near.stretch_begin.begin(), near.stretch_begin.end(), near.stretch_begin.begin());
    thread_local std::vector<std::uint32_t> next;
    next.assign(near.stretch_begin.begin(), near.stretch_begin.end());
    for (std::size_t i = 0; i < count; ++i) {
      const std::size_t place = begin + next[found.stretch[i]]++;
      cloud_.x[place] = found.station[i];
      cloud_.y[place] = found.out[i];
      cloud_.z[place] = found.up[i];
      cells_[place] = found.cell[i];
      if (has_sigma()) cloud_.sigma_mm[place] = found.sigma[i];
    }
    return near;
  }

  Cloud& cloud_;
  const RimPlaces& places_;
  DeepShare deep_;
  CellLayout layout_;
  float length_mm_;
  PlainArray<std::uint16_t>& cells_;
};

// Brings each stretch's points together from all chunks, in the chunks' order, sorted by slice and band (counting
// sort).
class StretchJoiner {
 public:
  StretchJoiner(const std::vector<NearPoints>& near, const PlainArray<std::uint16_t>& cells, const CellLayout& layout)
      : near_(near), cells_(cells), layout_(layout), stretch_begin_(layout.stretches() + 1, 0) {
    for (const NearPoints& points : near_)
      for (std::size_t k = 0; k + 1 < stretch_begin_.size(); ++k)
        stretch_begin_[k + 1] += points.stretch_begin[k + 1] - points.stretch_begin[k];
    std::partial_sum(stretch_begin_.begin(), stretch_begin_.end(), stretch_begin_.begin());
  }

  [[nodiscard]] std::size_t point_count() const { return stretch_begin_.back(); }

  void find_begins(UnrolledRim& rim, Workers& workers) const {
    rim.slice_begin.assign(layout_.slices + 1, point_count());
    rim.band_begin.assign(layout_.slices * layout_.bands + 1, point_count());
    for_stretches(workers, [&](std::size_t stretch) {
      thread_local std::vector<std::size_t> counts;
      counts.assign(layout_.cells_a_stretch(), 0);
      for_each_point(stretch, [&](std::size_t i) { ++counts[cells_[i]]; });
      const std::size_t first_slice = stretch * stretch_slices;
      const std::size_t slices_here = std::min(stretch_slices, layout_.slices - first_slice);
      std::size_t place = stretch_begin_[stretch];
      for (std::size_t cell = 0; cell < slices_here * layout_.bands; ++cell) {
        rim.band_begin[first_slice * layout_.bands + cell] = place;
        if (cell % layout_.bands == 0) rim.slice_begin[first_slice + cell / layout_.bands] = place;
        place += counts[cell];
      }
    });
  }

  // One number of every point, from its place in the cloud to that in the rim.
  void join(const PlainArray<float>& from, PlainArray<float>& to, const UnrolledRim& rim, Workers& workers) const {
    for_stretches(workers, [&](std::size_t stretch) {
      thread_local std::vector<std::size_t> next;
      const std::size_t first = stretch * layout_.cells_a_stretch();
      const std::size_t end = std::min(first + layout_.cells_a_stretch(), rim.band_begin.size());
      next.assign(&rim.band_begin[first], &rim.band_begin[0] + end);
      for_each_point(stretch, [&](std::size_t i) { to[next[cells_[i]]++] = from[i]; });
    });
  }

 private:
  template <class Body>
  void for_stretches(Workers& workers, const Body& body) const {
    workers.for_chunks(stretch_begin_.size() - 1, 1,
                       [&](std::size_t stretch, std::size_t, std::size_t) { body(stretch); });
  }

  template <class Use>
  void for_each_point(std::size_t stretch, const Use& use) const {
    for (const NearPoints& points : near_)
      for (std::size_t i = points.stretch_begin[stretch]; i < points.stretch_begin[stretch + 1]; ++i)
        use(points.first + i);
  }

  const std::vector<NearPoints>& near_;
  const PlainArray<std::uint16_t>& cells_;
  CellLayout layout_;
  std::vector<std::size_t> stretch_begin_;
};

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

RIMWRIGHT_WIDE_LOOPS
void RimPlaces::find(std::span<const float> x_mm, std::span<const float> y_mm, std::span<const float> z_mm,
                     std::span<float> station_mm, std::span<float> out_mm, std::span<float> up_mm) const {
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
    take_off_top(count, station, up);
    constexpr float nowhere = std::numeric_limits<float>::quiet_NaN();
    const float below = below_mm_, above = above_mm_;
    for (std::size_t i = 0; i < count; ++i) {
      const float s = station[i], o = out[i], u = up[i];
      const std::int32_t is_within = (u >= below ? 1 : 0) & (u <= above ? 1 : 0);
      station[i] = is_within != 0 ? s : nowhere;
      out[i] = is_within != 0 ? o : nowhere;
      up[i] = is_within != 0 ? u : nowhere;
    }
  }
}

// Its height is linear between the borders of slices. NaN where there is no station.
RIMWRIGHT_WIDE_LOOPS
void RimPlaces::take_off_top(std::size_t count, const float* station_mm, float* up_mm) const {
  const float* heights = heights_mm_.data();
  const float length_mm = length_mm_, heights_a_mm = heights_a_mm_;
  const auto last = static_cast<std::int32_t>(heights_mm_.size()) - 2;
  std::array<float, most_at_once> beyond, height, next_height;
  std::array<std::int32_t, most_at_once> border;
  for (std::size_t i = 0; i < count; ++i) {
    const float s = station_mm[i], station = s > 0.0F ? (s < length_mm ? s : length_mm) : 0.0F;
    const float slice = station * heights_a_mm;
    const auto whole = static_cast<std::int32_t>(slice);
    border[i] = whole < last ? whole : last;
    beyond[i] = slice - static_cast<float>(border[i]) + (s - s);
  }
  for (std::size_t i = 0; i < count; ++i) {
    height[i] = heights[border[i]];
    next_height[i] = heights[border[i] + 1];
  }
  for (std::size_t i = 0; i < count; ++i) up_mm[i] -= height[i] + beyond[i] * (next_height[i] - height[i]);
}

UnrolledRim unroll(Cloud& cloud, const Orientation& orientation, const RimCurve& curve, const UnrollSettings& settings,
                   Workers& workers, double work_down_mm) {
  UnrolledRim rim{.curve = curve,
                  .T_body_scan = orientation.T_body_scan,
                  .top = orientation.top,
                  .top_bend = orientation.top_bend,
                  .slice_mm = settings.slice_mm,
                  .band_mm = settings.band_mm,
                  .first_band_mm = -(settings.below_mm + settings.outside_mm) / std::numbers::sqrt2};
  const double last_band_mm = (settings.above_mm + settings.inside_mm) / std::numbers::sqrt2;
  rim.band_count = static_cast<std::size_t>((last_band_mm - rim.first_band_mm) / rim.band_mm) + 1;
  const CellLayout layout(curve.length_mm(), rim);
  // Chunks are fixed, so the order of points within a slice does not depend on the number of threads.
  const RimPlaces places(curve, orientation, settings);
  PlainArray<std::uint16_t> cells(cloud.size());
  const DeepShare deep = deep_share(cloud, places, work_down_mm, curve.length_mm(), settings);
  NearFinder finder(cloud, places, deep, layout, curve.length_mm(), cells);
  std::vector<NearPoints> near((cloud.size() + chunk_points - 1) / chunk_points);
  workers.for_chunks(cloud.size(), chunk_points, [&](std::size_t begin, std::size_t end, std::size_t chunk) {
    near[chunk] = finder.find(begin, end);
  });
  const StretchJoiner joiner(near, cells, layout);
  joiner.find_begins(rim, workers);
  // Each array moves into the memory that the one before it left: fresh memory costs more than what is done in it.
  PlainArray<float> room(joiner.point_count());
  const auto join = [&](PlainArray<float>& from, PlainArray<float>& to) {
    if (from.empty()) return;
    to.swap(room);
    to.resize(joiner.point_count());
    joiner.join(from, to, rim, workers);
    room.swap(from);
  };
  join(cloud.x, rim.station_mm);
  join(cloud.y, rim.out_mm);
  join(cloud.z, rim.up_mm);
  join(cloud.sigma_mm, rim.sigma_mm);
  for (auto* values : {&cloud.x, &cloud.y, &cloud.z, &cloud.sigma_mm}) PlainArray<float>().swap(*values);
  cloud.normals = {};
  cloud.colours = {};
  return rim;
}

void give_back_points(UnrolledRim& rim, Workers& workers) {
  const auto give_back = [](PlainArray<float>& values) { return [&values] { PlainArray<float>().swap(values); }; };
  workers.do_all({give_back(rim.station_mm), give_back(rim.out_mm), give_back(rim.up_mm)});
}

}  // namespace rimwright
