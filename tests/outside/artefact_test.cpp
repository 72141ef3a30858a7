// Acceptance on artefacts, as for optical scanners: flatness of a plane and the angle of a wedge, by our own fits.
//
// Definitions (from memory): VDI/VDE 2634 part 2 and ISO 10360-13: flatness measuring error = span of the distances of
// the points from the least-squares plane. A sphere (probing error, sphere spacing) meets no fit of ours: we fit no
// balls, a ball is refused.
#include <gtest/gtest.h>

#include <cmath>
#include <numeric>

#include "measure/fit_faces.h"
#include "measure/made_rim.h"

namespace rimwright {
namespace {

// Expected span of n independent normal values, by Blom's approximation to the largest (Blom 1958): 2 Phi^-1.
double expected_span(double n) {
  const double p = (n - 0.375) / (n + 0.25);
  double low = 0.0, high = 10.0;
  while (high - low > 1e-9) {
    const double middle = 0.5 * (low + high);
    (0.5 * std::erfc(-middle / std::numbers::sqrt2) < p ? low : high) = middle;
  }
  return 2.0 * low;
}

TEST(PlaneArtefact, FlatnessIsTheSpanOfTheNoise) {
  const double noise = 0.03, length = 60.0;
  const auto wedge = [](double) { return test::bevelled_profile(14.0, 124.0); };
  const FaceTracks tracks = test::bevelled_tracks(length, wedge);
  double ratio = 0.0;
  const int seeds = 10;
  for (unsigned seed = 1; seed <= seeds; ++seed) {
    const UnrolledRim rim = test::made_rim(length, wedge, 6.0, noise, seed);
    Workers workers;
    const FittedRim fitted = fit_faces(rim, tracks, noise, 0.0, {}, workers);
    const FaceFits* top = fitted.find(FaceName::top);
    const FaceFit& fit = top->at[30];
    ASSERT_TRUE(fit.measured);
    double low = 1e9, high = -1e9, count = 0;
    for (std::size_t i = 0; i < rim.station_mm.size(); ++i) {
      if (std::abs(rim.station_mm[i] - 30.5) > fit.window_mm) continue;
      const Vector2 p(rim.out_mm[i], rim.up_mm[i]);
      const double t = p.dot(top->along);
      if (t < std::min(fit.from_t_mm, fit.to_t_mm) || t > std::max(fit.from_t_mm, fit.to_t_mm)) continue;
      const double d = (p - top->point(fit, t)).dot(top->normal);
      if (std::abs(d) > 1.0) continue;  // another face
      low = std::min(low, d), high = std::max(high, d), ++count;
    }
    ASSERT_GT(count, 300);
    ratio += (high - low) / (noise * expected_span(count)) / seeds;
  }
  // The span of about a thousand normal values varies by some 7 %; of ten, the mean by 2.2 %: three of them.
  EXPECT_NEAR(ratio, 1.0, 0.07);
}

// A wedge of known angle is the nearest artefact to a bevel: error of the angle within what its fits claim.
TEST(WedgeArtefact, AngleOfKnownWedges) {
  const double noise = 0.03, length = 60.0;
  for (const double angle : {112.0, 124.0, 136.0}) {
    const auto wedge = [angle](double) { return test::bevelled_profile(14.0, angle); };
    const FaceTracks tracks = test::bevelled_tracks(length, wedge);
    double sum = 0.0, squares = 0.0;
    const int seeds = 20;
    for (unsigned seed = 1; seed <= seeds; ++seed) {
      const UnrolledRim rim = test::made_rim(length, wedge, 6.0, noise, seed);
      Workers workers;
      const FittedRim fitted = fit_faces(rim, tracks, noise, 0.0, {}, workers);
      const FaceFits *side = fitted.find(FaceName::side), *bevel = fitted.find(FaceName::bevel);
      const FaceFit &s = side->at[30], &b = bevel->at[30];
      const Vector2 d = side->direction(s), e = bevel->direction(b);
      const double measured = 180.0 - degrees_from_radians(std::acos(d.dot(e)));
      const double u = degrees_from_radians(std::sqrt(s.variance_b + b.variance_b));
      sum += (measured - angle) / u, squares += std::pow((measured - angle) / u, 2);
    }
    EXPECT_LT(std::abs(sum / seeds), 3.5 / std::sqrt(1.0 * seeds)) << angle;
    EXPECT_NEAR(squares / seeds, 1.0, 3.5 * std::sqrt(2.0 / seeds)) << angle;
  }
}

}  // namespace
}  // namespace rimwright
