#include "measure/edge_strips.h"

#include <cmath>

namespace rimwright {

FaceFit tangent_at(const FaceFit& strip, double t_mm) {
  FaceFit tangent = strip;
  const double d = t_mm - strip.t0_mm;
  tangent.t0_mm = t_mm;
  tangent.a_mm = strip.a_mm + strip.b * d + strip.q * d * d;
  tangent.b = strip.b + 2 * strip.q * d;
  tangent.variance_a = strip.variance_a + d * d * strip.variance_b + d * d * d * d * strip.variance_q +
                       2 * d * strip.covariance_ab + 2 * d * d * strip.covariance_aq +
                       2 * d * d * d * strip.covariance_bq;
  tangent.variance_b = strip.variance_b + 4 * d * d * strip.variance_q + 4 * d * strip.covariance_bq;
  tangent.covariance_ab = strip.covariance_ab + d * strip.variance_b + 2 * d * strip.covariance_aq +
                          3 * d * d * strip.covariance_bq + 2 * d * d * d * strip.variance_q;
  tangent.q = tangent.variance_q = tangent.covariance_aq = tangent.covariance_bq = 0.0;
  return tangent;
}

void prefer_short_where_long_misfits(FaceFits& strip, const FaceFits& shorter, double FaceFit::*edge_end,
                                     double beyond) {
  constexpr double sigmas = 3.0;
  for (std::size_t i = 0; i < strip.at.size() && i < shorter.at.size(); ++i) {
    FaceFit& fit = strip.at[i];
    FaceFit instead = shorter.at[i];
    if (!fit.measured || !instead.measured) continue;
    const double edge_t_mm = instead.*edge_end + beyond * instead.margin_mm;
    const FaceFit by_long = tangent_at(fit, edge_t_mm), by_short = tangent_at(instead, edge_t_mm);
    const double apart_mm = std::abs(by_long.a_mm - by_short.a_mm);
    const double chance = std::sqrt(0.5 / fit.degrees_of_freedom + 0.5 / instead.degrees_of_freedom);
    const bool scatters = fit.noise_mm > instead.noise_mm * (1.0 + sigmas * chance);
    if (!scatters && apart_mm < sigmas * std::sqrt(by_long.variance_a + by_short.variance_a)) continue;
    instead.form_u_mm = apart_mm;
    fit = instead;
  }
}

}  // namespace rimwright
