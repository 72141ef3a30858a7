// Worked examples of the GUM and published fits, held against the pieces of ours that apply.
//
// Only where our own code does the job: coverage factors and effective degrees of freedom (core/measured.h),
// propagation (measure/section_geometry.h), the profile filter. GUM H.2 (resistance and reactance) is a propagation
// with correlated inputs, which propagate() does for a and b of one fit. Not applicable, and so not claimed: the
// straight lines of GUM H.3 and NIST Norris (a face is fitted over a window of rim with terms along it, never as a line
// through pairs) and the circle of Gander, Golub and Strebel (no circle is fitted anywhere).
#include <gtest/gtest.h>

#include <array>
#include <cmath>

#include "core/measured.h"
#include "measure/gaussian_filter.h"
#include "measure/section_geometry.h"

namespace rimwright {
namespace {

// JCGM 100:2008, table G.2, 95 %: from memory, recomputed with an independent library.
TEST(CoverageFactors, StudentsTable) {
  for (const auto& [dof, t] : std::array<std::pair<double, double>, 9>{
           {{1, 12.71}, {2, 4.30}, {3, 3.18}, {4, 2.78}, {5, 2.57}, {10, 2.23}, {20, 2.09}, {50, 2.01}, {100, 1.984}}})
    EXPECT_NEAR(coverage_factor_95(dof), t, 0.005) << dof;
  EXPECT_NEAR(coverage_factor_95(std::numeric_limits<double>::infinity()), 1.960, 0.0005);
  EXPECT_EQ(coverage_factor_95(0.3), coverage_factor_95(1.0));
}

// JCGM 100:2008, H.1 (end gauge; from memory): components in nm with their degrees of freedom 25 (18), 9.7 (25.6),
// 2.9 (50), 16.6 (2); combined 32 nm (31.7 without second-order terms), 16 effective degrees of freedom by
// Welch-Satterthwaite (G.4.1). Our formula is that of propagate(): four faces stand for the four components.
TEST(EndGauge, CombinedUncertaintyAndDegreesOfFreedom) {
  FaceFit side, bevel, lower, top;
  const auto component = [](FaceFit& fit, double u, double dof) {
    fit.measured = true;
    fit.variance_a = u * u;
    fit.degrees_of_freedom = dof;
  };
  component(side, 25e-3, 18), component(bevel, 9.7e-3, 25.6), component(lower, 2.9e-3, 50), component(top, 16.6e-3, 2);
  SectionFits fits;
  fits.side = &side, fits.bevel = &bevel, fits.top = &top;
  fits.lower_strip = lower;
  const Measured length =
      propagate([](const SectionFaces& f) { return f.side.a_mm + f.bevel.a_mm + f.lower_strip.a_mm + f.top.a_mm; },
                SectionFaces{}, fits, NoiseModel{});
  EXPECT_NEAR(length.combined_u(), 31.7e-3, 0.1e-3);
  EXPECT_EQ(std::floor(length.degrees_of_freedom), 16.0);
}

// JCGM 100:2008, H.2 (from memory): V = 4.9990 (0.0032) V, I = 19.6610 (0.0095) mA, phi = 1.04446 (0.00075) rad;
// r(V, I) = -0.36 enters Z = V / I: 254.260 ohm, u = 0.236. V and I stand as a and b of one fit, correlated.
TEST(ResistanceAndReactance, ImpedanceOfCorrelatedInputs) {
  FaceFit side;
  side.measured = true;
  side.degrees_of_freedom = 4;
  const double u_volt = 0.0032, u_ampere = 0.0095e-3, r = -0.355;
  side.variance_a = u_volt * u_volt, side.variance_b = u_ampere * u_ampere;
  side.covariance_ab = r * u_volt * u_ampere;
  SectionFaces faces;
  faces.side.a_mm = 4.9990, faces.side.b = 19.6610e-3;
  SectionFits fits;
  fits.side = &side;
  // In kiloohm, so that the steps of the differences suit the sizes.
  const Measured impedance =
      propagate([](const SectionFaces& f) { return 1e-3 * f.side.a_mm / f.side.b; }, faces, fits, NoiseModel{});
  EXPECT_NEAR(impedance.value, 0.254260, 1e-6);
  EXPECT_NEAR(impedance.combined_u(), 0.236e-3, 0.002e-3);
}

// ISO 16610-21: transmission 50 % at the cutoff; 0.9576 at 4, 0.8409 at 2, 0.0625 at 1/2 cutoffs (computed from
// exp(-pi (alpha lc / l)^2), alpha = 0.4697).
TEST(ProfileFilter, Transmission) {
  constexpr double step = 0.1, cutoff = 8.0;
  for (const auto& [ratio, expected] :
       std::array<std::pair<double, double>, 4>{{{4.0, 0.9576}, {2.0, 0.8409}, {1.0, 0.5}, {0.5, 0.0625}}}) {
    std::vector<double> wave;
    for (double x = 0.0; x < 400.0; x += step) wave.push_back(std::cos(2 * std::numbers::pi * x / (ratio * cutoff)));
    const auto out = gaussian_mean_line(wave, step, cutoff, 0);
    double product = 0.0, square = 0.0;
    for (std::size_t i = 200; i + 200 < wave.size(); ++i) product += wave[i] * out[i], square += wave[i] * wave[i];
    EXPECT_NEAR(product / square, expected, 1e-3) << ratio;
  }
}

}  // namespace
}  // namespace rimwright
