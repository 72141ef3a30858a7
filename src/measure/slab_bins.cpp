#include "measure/slab_bins.h"

#include <algorithm>
#include <cmath>
#include <numeric>
#include <utility>

#include "measure/profile_frame.h"
#include "rim/even_share.h"

namespace rimwright {

namespace {

constexpr std::size_t enough_for_a_median = 15;  // the middle of so many lies within 0.33 of their scatter

std::pair<float, float> height_range(std::span<const SlabBins::Member> members) {
  float lowest = members.front().height, highest = lowest;
  for (const SlabBins::Member& m : members) {
    lowest = m.height < lowest ? m.height : lowest;
    highest = m.height > highest ? m.height : highest;
  }
  return {lowest, highest};
}

}  // namespace

BinFinder::BinFinder(std::vector<double> borders_mm) : borders_mm_(std::move(borders_mm)) {
  for (double at = borders_mm_.front(); at < borders_mm_.back(); at += stretch_mm) {
    const auto after = std::upper_bound(borders_mm_.begin(), borders_mm_.end() - 1, at);
    bin_before_.push_back(static_cast<std::uint16_t>(after - borders_mm_.begin() - 1));
  }
}

void SlabBins::gather(const UnrolledRim& rim, const BinFinder& finder, double station_mm, double slab_mm, double enough,
                      const MovedBack& moved_back) {
  const double slices_a_mm = 1.0 / rim.slice_mm;
  const auto slice_at = [&](double s) {
    return static_cast<std::size_t>(std::clamp(s * slices_a_mm, 0.0, static_cast<double>(rim.slice_count())));
  };
  const std::size_t begin = rim.slice_begin[slice_at(station_mm - slab_mm / 2)];
  const std::size_t end = rim.slice_begin[slice_at(station_mm + slab_mm / 2)];
  const std::size_t every =
      std::max<std::size_t>(1, static_cast<std::size_t>(static_cast<double>(end - begin) / enough));

  // Counting sort: points of a bin stay in their order.
  const EvenShare share(begin, end, every);
  const std::size_t points = share.size();
  if (found_.size() < points) found_.resize(points), bin_of_.resize(points);
  count_.assign(finder.bin_count(), 0);
  std::size_t found = 0;
  for (std::size_t k = 0; k < points; ++k) {
    const std::size_t i = share[k];
    const double ds = static_cast<double>(rim.station_mm[i]) - station_mm;
    Vector2 place(rim.out_mm[i], rim.up_mm[i]);
    if (moved_back) place = moved_back(place, ds);
    const double along = profile_along(place.x(), place.y());
    const std::uint16_t bin = finder.bin_at(along);
    if (bin == BinFinder::none) continue;
    ++count_[bin];
    bin_of_[found] = bin;
    found_[found++] = {static_cast<float>(along), static_cast<float>(profile_height(place.x(), place.y())),
                       static_cast<float>(ds)};
  }
  begin_.assign(count_.size() + 1, 0);
  std::partial_sum(count_.begin(), count_.end(), begin_.begin() + 1);
  members_.resize(begin_.back());
  std::fill(count_.begin(), count_.end(), 0);
  for (std::size_t k = 0; k < found; ++k) members_[begin_[bin_of_[k]] + count_[bin_of_[k]]++] = found_[k];
}

void SlabBins::keep_near_median(std::size_t b, double gate_mm) {
  const std::span<Member> members = (*this)[b];
  count_[b] = 0;
  if (members.size() < 2) return;
  const auto [lowest, highest] = height_range(members);
  if (highest - lowest < static_cast<float>(gate_mm)) {  // so is each from the median, wherever that lies
    count_[b] = members.size();
    return;
  }
  // The gate is far wider than the noise: an even share of many points tells its middle well enough.
  const std::size_t every = std::max<std::size_t>(1, members.size() / enough_for_a_median);
  heights_.clear();
  for (std::size_t k = 0; k < members.size(); k += every) heights_.push_back(members[k].height);
  const auto middle = heights_.begin() + static_cast<std::ptrdiff_t>(heights_.size() / 2);
  std::nth_element(heights_.begin(), middle, heights_.end());
  const auto low = static_cast<float>(*middle - gate_mm), high = static_cast<float>(*middle + gate_mm);
  const auto last = std::remove_if(members.begin(), members.end(),
                                   [&](const Member& m) { return m.height < low || m.height > high; });
  count_[b] = static_cast<std::size_t>(last - members.begin());
}

void SlabBins::take_out_movement() {
  constexpr std::ptrdiff_t pooled_bins = 8;
  constexpr double fastest = 0.6;  // of any run-out, millimetre a millimetre
  std::vector<double> products(size(), 0.0), squares(size(), 0.0);
  for (std::size_t b = 0; b < size(); ++b) {
    double h = 0, s = 0, hs = 0, ss = 0;
    const auto n = static_cast<double>(count_[b]);
    if (n < 2) continue;
    for (const Member& m : (*this)[b]) h += m.height, s += m.ds;
    h /= n, s /= n;
    for (const Member& m : (*this)[b]) {
      const double dh = m.height - h, ds = m.ds - s;
      hs += dh * ds, ss += ds * ds;
    }
    products[b] = hs;
    squares[b] = ss;
  }
  const auto count = static_cast<std::ptrdiff_t>(size());
  for (std::ptrdiff_t b = 0; b < count; ++b) {
    double hs = 0, ss = 1e-9;
    for (std::ptrdiff_t k = std::max<std::ptrdiff_t>(0, b - pooled_bins); k <= std::min(count - 1, b + pooled_bins);
         ++k) {
      hs += products[static_cast<std::size_t>(k)];
      ss += squares[static_cast<std::size_t>(k)];
    }
    const auto speed = static_cast<float>(std::clamp(hs / ss, -fastest, fastest));
    for (Member& m : (*this)[static_cast<std::size_t>(b)]) m.height -= speed * m.ds;
  }
}

}  // namespace rimwright
