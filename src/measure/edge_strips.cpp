#include "measure/edge_strips.h"

#include <algorithm>
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

double bend_doubt_mm(const FaceFit& strip, double end_t_mm, double edge_t_mm, double usual_bend_per_mm) {
  const double too_much = std::max(0.0, std::abs(strip.q) - usual_bend_per_mm);
  const double middle = 0.5 * (strip.from_t_mm + strip.to_t_mm);
  return too_much * std::max(0.0, std::pow(edge_t_mm - middle, 2) - std::pow(end_t_mm - middle, 2));
}

FaceFit straightened(const FaceFit& strip) {
  FaceFit straight = strip;
  if (strip.variance_q <= 0.0) return straight;
  const double by_a = strip.covariance_aq / strip.variance_q, by_b = strip.covariance_bq / strip.variance_q;
  straight.a_mm -= by_a * strip.q;
  straight.b -= by_b * strip.q;
  straight.variance_a -= by_a * strip.covariance_aq;
  straight.variance_b -= by_b * strip.covariance_bq;
  straight.covariance_ab -= by_a * strip.covariance_bq;
  straight.q = straight.variance_q = straight.covariance_aq = straight.covariance_bq = straight.bend_share = 0.0;
  return straight;
}

void prefer_short_where_long_misfits(FaceFits& strip, const FaceFits& shorter, double FaceFit::*edge_end,
                                     double beyond) {
  constexpr double sigmas = 3.0;
  for (std::size_t i = 0; i < strip.at.size() && i < shorter.at.size(); ++i) {
    FaceFit& fit = strip.at[i];
    const FaceFit& bent = shorter.at[i];
    if (!fit.measured || !bent.measured) continue;
    const double edge_t_mm = bent.*edge_end + beyond * bent.margin_mm;
    const FaceFit by_long = tangent_at(fit, edge_t_mm);
    const FaceFit straight = straightened(bent);
    const auto apart_mm = [&](const FaceFit& other) {
      return std::abs(by_long.a_mm - tangent_at(other, edge_t_mm).a_mm);
    };
    const auto agrees = [&](const FaceFit& other) {
      return apart_mm(other) < sigmas * std::sqrt(by_long.variance_a + tangent_at(other, edge_t_mm).variance_a);
    };
    const double chance = std::sqrt(0.5 / fit.degrees_of_freedom + 0.5 / bent.degrees_of_freedom);
    const bool scatters = fit.noise_mm > bent.noise_mm * (1.0 + sigmas * chance);
    if (!scatters && agrees(straight)) continue;
    if (!scatters && agrees(bent)) {
      fit.form_u_mm = apart_mm(bent);
      continue;
    }
    // The shorter strip bends where its own points say so beyond chance.
    const bool bends = std::abs(bent.q) > sigmas * std::sqrt(bent.variance_q);
    FaceFit instead = bends ? bent : straight;
    instead.form_u_mm = apart_mm(instead);
    fit = instead;
  }
}

}  // namespace rimwright
