// How far outside a limit the evidence must lie before a body is called out of tolerance, when many places were looked
// at. One station fails by chance in one of forty where the true value sits on the limit; a rim has hundreds. So a
// stretch of rim fails only where its evidence would be met by chance on no more than `alpha` of sound bodies.
#pragma once

#include <cstddef>
#include <vector>

namespace rimwright {

// The factor f so that P(s + max_i r_i > f u) = alpha, with s ~ N(0, c u) common to all places and r_i ~ N(0, l u)
// independent at each of `places` places, c^2 + l^2 = 1. For one place, or c = 1, this is the normal quantile.
// Correlation between places only lowers the left side, so the factor errs to the safe side. Places >= 1.
[[nodiscard]] double family_factor(double common_share_c, double places, double alpha);

// The same factor for one count of places, tabulated as it is asked for over the angle whose sine is c: over c itself
// it falls steeply towards c = 1, and a line between places of a table lay 6 % below it.
class FamilyFactors {
 public:
  FamilyFactors() : FamilyFactors(1.0, 0.025) {}
  FamilyFactors(double places, double alpha);
  [[nodiscard]] double at(double common_u, double local_u);

 private:
  double node(std::size_t i);
  double places_, alpha_;
  std::vector<double> by_angle_;
};

// Stations over which neighbouring errors stay alike: 1 + 2 sum of the autocorrelations of the series about its running
// mean, up to the first that is not positive (integrated autocorrelation length), never below 1. Real shape in the
// series only lengthens it, which is the safe side.
[[nodiscard]] double correlation_length_in_stations(const std::vector<double>& values);

}  // namespace rimwright
