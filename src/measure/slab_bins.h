// The points of a slab of rim, bin by bin along the profile: what a section is segmented from.
#pragma once

#include <algorithm>
#include <cstdint>
#include <functional>
#include <span>
#include <vector>

#include "rim/unroll.h"

namespace rimwright {

// Finds the bin that a place along the profile lies in: bin b goes from border b up to border b + 1.
class BinFinder {
 public:
  BinFinder() = default;
  explicit BinFinder(std::vector<double> borders_mm);  // ascending, at least two, fewer than 65 535

  static constexpr std::uint16_t none = 0xffff;  // before the first border, or from the last on
  [[nodiscard]] std::uint16_t bin_at(double along_mm) const {
    if (!(along_mm >= borders_mm_.front() && along_mm < borders_mm_.back())) return none;
    const auto stretch = static_cast<std::size_t>((along_mm - borders_mm_.front()) * (1.0 / stretch_mm));
    std::size_t bin = bin_before_[std::min(bin_before_.size() - 1, stretch)];
    bin += bin + 2 < borders_mm_.size() && along_mm >= borders_mm_[bin + 1] ? 1 : 0;  // no jump: one in two goes on
    while (along_mm < borders_mm_[bin]) --bin;                                        // by rounding only
    while (along_mm >= borders_mm_[bin + 1]) ++bin;
    return static_cast<std::uint16_t>(bin);
  }
  [[nodiscard]] std::size_t bin_count() const { return borders_mm_.size() - 1; }

 private:
  static constexpr double stretch_mm = 0.1;  // about half a fine bin: the bin is found in one or two steps
  std::vector<double> borders_mm_;
  std::vector<std::uint16_t> bin_before_;  // of the beginning of each short stretch of the profile
};

// Made to be used again: one slab after the other in the same memory.
class SlabBins {
 public:
  struct Member {
    float along, height, ds;  // profile frame, mm; ds from the slab's station
  };

  // The points within half a slab_mm of the station; where they are twice as many as `enough` or more, an even share.
  // `moved_back`, where given, takes a point (out, up) seen ds farther on back to the station.
  using MovedBack = std::function<Vector2(const Vector2& out_up_mm, double ds_mm)>;
  void gather(const UnrolledRim& rim, const BinFinder& finder, double station_mm, double slab_mm, double enough,
              const MovedBack& moved_back = {});
  // Drops what lies farther than gate_mm from the median height of bin b; a single point says nothing and goes too.
  void keep_near_median(std::size_t b, double gate_mm);
  // In a run-out the profile moves while the slab passes. How fast is pooled over neighbouring bins and taken out, so
  // that the section is that of its own station.
  void take_out_movement();

  [[nodiscard]] std::size_t size() const { return count_.size(); }
  [[nodiscard]] std::span<Member> operator[](std::size_t b) { return {members_.data() + begin_[b], count_[b]}; }

 private:
  std::vector<Member> members_;  // of all bins, one after the other; a bin may have fewer than it began with
  std::vector<std::size_t> begin_, count_;
  std::vector<Member> found_;          // the points as they come
  std::vector<std::uint16_t> bin_of_;  // and their bins
  std::vector<float> heights_;         // of one bin
};

}  // namespace rimwright
