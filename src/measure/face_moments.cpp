#include "measure/face_moments.h"

#include <array>

namespace rimwright {

namespace {

// Two at once, as the processor does.
using Two = Eigen::Array2d;

Two two(std::span<const float> values, std::size_t k) { return {values[k], values[k + 1]}; }

// Known when compiled, equal weights cost nothing.
struct EqualWeights {
  [[nodiscard]] static Two two_at(std::size_t) { return Two::Ones(); }
  [[nodiscard]] static double at(std::size_t) { return 1.0; }
};
struct GivenWeights {
  std::span<const float> weights;
  [[nodiscard]] Two two_at(std::size_t k) const { return two(weights, k); }
  [[nodiscard]] double at(std::size_t k) const { return weights[k]; }
};

template <class Weights>
void add_weighted(SliceMoments& m, std::span<const float> t_mm, std::span<const float> y_mm,
                  std::span<const float> residual_mm, const Weights& weights) {
  Two w2 = Two::Zero(), t2 = w2, tt2 = w2, ttt2 = w2, tttt2 = w2, y2 = w2, ty2 = w2, tty2 = w2, yy2 = w2;
  const std::size_t count = t_mm.size();
  for (std::size_t k = 0; k + 1 < count; k += 2) {
    const Two at = two(t_mm, k), height = two(y_mm, k), one = weights.two_at(k);
    const Two wt = one * at, wtt = wt * at, wy = one * height, wttt = wtt * at;
    w2 += one, t2 += wt, tt2 += wtt, ttt2 += wttt, tttt2 += wttt * at;
    y2 += wy, ty2 += wt * height, tty2 += wtt * height, yy2 += wy * height;
  }
  m.w += w2.sum(), m.t += t2.sum(), m.tt += tt2.sum(), m.ttt += ttt2.sum(), m.tttt += tttt2.sum();
  m.y += y2.sum(), m.ty += ty2.sum(), m.tty += tty2.sum(), m.yy += yy2.sum();
  m.points += static_cast<double>(count - count % 2);
  if (count % 2 == 1) m.add(t_mm[count - 1], y_mm[count - 1], weights.at(count - 1));

  Two squares = Two::Zero();
  std::size_t k = 0;
  for (; k + 2 < count; k += 2) {
    const Two step = two(residual_mm, k + 1) - two(residual_mm, k);
    const Two from = weights.two_at(k), to = weights.two_at(k + 1);
    squares += step * step * (from * to / (from + to));
  }
  m.steps += squares.sum();
  m.step_count += static_cast<double>(k);
  for (; k + 1 < count; ++k) m.add_step(residual_mm[k], weights.at(k), residual_mm[k + 1], weights.at(k + 1));
}

}  // namespace

void SliceMoments::add_all(std::span<const float> t_mm, std::span<const float> y_mm, std::span<const float> residual_mm,
                           std::span<const float> weight) {
  if (weight.empty())
    add_weighted(*this, t_mm, y_mm, residual_mm, EqualWeights{});
  else
    add_weighted(*this, t_mm, y_mm, residual_mm, GivenWeights{weight});
}

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
