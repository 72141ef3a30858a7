#include "measure/face_moments.h"

#include <array>

namespace rimwright {

WindowEquations window_equations(std::span<const SliceMoments> slices, double t0_mm, double first_s_mm,
                                 double step_mm) {
  WindowEquations equations;
  const double t0 = t0_mm, t02 = t0 * t0, t03 = t02 * t0;
  for (std::size_t k = 0; k < slices.size(); ++k) {
    const SliceMoments& m = slices[k];
    if (m.w <= 0) continue;
    const double s = first_s_mm + static_cast<double>(k) * step_mm;
    // Moments about t0; the slice shares one s.
    const std::array<double, 5> sums{m.w, m.t - t0 * m.w, m.tt - 2 * t0 * m.t + t02 * m.w,
                                     m.ttt - 3 * t0 * m.tt + 3 * t02 * m.t - t03 * m.w,
                                     m.tttt - 4 * t0 * m.ttt + 6 * t02 * m.tt - 4 * t03 * m.t + t03 * t0 * m.w};
    const std::array<double, 3> with_y{m.y, m.ty - t0 * m.y, m.tty - 2 * t0 * m.ty + t02 * m.y};
    const std::array<double, 7> powers_s{1, 1, s, s * s, s, 1, s * s};
    constexpr std::array<std::size_t, 7> powers_t{0, 1, 0, 0, 1, 2, 1};
    for (std::size_t p = 0; p < 7; ++p) {
      for (std::size_t q = 0; q < 7; ++q)
        equations.normal(static_cast<Eigen::Index>(p), static_cast<Eigen::Index>(q)) +=
            sums[powers_t[p] + powers_t[q]] * powers_s[p] * powers_s[q];
      equations.right[static_cast<Eigen::Index>(p)] += with_y[powers_t[p]] * powers_s[p];
    }
    equations.yy += m.yy;
  }
  return equations;
}

}  // namespace rimwright
