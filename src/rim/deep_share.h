// Of a very dense scan, the points of the side below all work: an even share is enough.
#pragma once

#include <cstddef>
#include <cstdint>

#include "core/cloud.h"
#include "rim/unroll.h"

namespace rimwright {

// Which points deep on the side are kept: a share of them, chosen by a sequence that keeps in step with no pattern of
// the file (multiples of the golden ratio, Knuth, The Art of Computer Programming 3, 6.4).
class DeepShare {
 public:
  DeepShare(double deep_mm, std::size_t every)
      : deep_mm_(static_cast<float>(-deep_mm)), most_(static_cast<std::uint32_t>(0xffffffffU / every)) {}
  // 1 or 0.
  [[nodiscard]] std::uint32_t keeps(std::size_t point, float up_mm) const {
    const std::uint32_t place = static_cast<std::uint32_t>(point) * 0x9e3779b9U;
    return (up_mm >= deep_mm_ ? 1U : 0U) | (place <= most_ ? 1U : 0U);
  }

 private:
  float deep_mm_;
  std::uint32_t most_;
};

// As many as the settings ask for, judged from a sample of the cloud. deep_mm: below the rim corner, where depth
// begins; length_mm: of the rim.
[[nodiscard]] DeepShare deep_share(const Cloud& cloud, const RimPlaces& places, double deep_mm, double length_mm,
                                   const UnrollSettings& settings);

}  // namespace rimwright
