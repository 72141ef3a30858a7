// Random numbers that are the same on every machine: SplitMix64 (Steele, Lea, Flood, OOPSLA 2014) with closed-form
// transforms, so that a seed means one scan whatever the standard library.
#pragma once

#include <cmath>
#include <cstdint>
#include <numbers>

namespace rimwright {

class Random {
 public:
  explicit Random(std::uint64_t seed, std::uint64_t stream = 0)
      : state_(mix(seed) ^ mix(~stream * 0x9e3779b97f4a7c15u)) {}

  std::uint64_t bits() { return mix(state_ += 0x9e3779b97f4a7c15u); }
  double uniform() { return static_cast<double>(bits() >> 11) * 0x1.0p-53; }  // [0, 1)
  double uniform(double from, double to) { return from + (to - from) * uniform(); }
  std::uint64_t below(std::uint64_t n) { return static_cast<std::uint64_t>(uniform() * static_cast<double>(n)); }

  double normal() {  // Box-Muller
    if (has_spare_) {
      has_spare_ = false;
      return spare_;
    }
    const double r = std::sqrt(-2.0 * std::log(1.0 - uniform()));
    const double a = 2.0 * std::numbers::pi * uniform();
    spare_ = r * std::sin(a);
    has_spare_ = true;
    return r * std::cos(a);
  }

  // Poisson count, by counting unit-rate arrivals; in pieces so that exp() does not underflow.
  std::uint64_t poisson(double mean) {
    std::uint64_t count = 0;
    while (mean > 0.0) {
      const double part = mean > 200.0 ? 200.0 : mean;
      mean -= part;
      const double limit = std::exp(-part);
      for (double product = 1.0 - uniform(); product > limit; product *= 1.0 - uniform()) ++count;
    }
    return count;
  }

 private:
  static std::uint64_t mix(std::uint64_t z) {
    z = (z ^ (z >> 30)) * 0xbf58476d1ce4e5b9u;
    z = (z ^ (z >> 27)) * 0x94d049bb133111ebu;
    return z ^ (z >> 31);
  }
  std::uint64_t state_;
  double spare_ = 0.0;
  bool has_spare_ = false;
};

}  // namespace rimwright
