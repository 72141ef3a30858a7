#include "measure/section_geometry.h"

#include <array>
#include <cmath>

namespace rimwright {

SectionLine line_of(const FaceFits& face, const FaceFit& fit, const SectionTurn& turn) {
  SectionLine line{face.along, face.normal, face.from_upright_rad, fit.t0_mm, fit.a_mm, fit.b};
  if (turn.rad == 0.0) return line;
  const double shear = std::tan(turn.rad) * turn.rise_along;
  const auto turned = [&](double t_mm) {
    const double here = fit.a_mm + fit.b * (t_mm - fit.t0_mm);
    const double out_here = t_mm * face.along.x() + here * face.normal.x();
    const double further_by_out = std::tan(turn.rad) / (1.0 + turn.curvature_per_mm * out_here);
    // y = here + moves * out and out = t along.x + y normal.x, solved for both.
    const double moves = (fit.shift_along + fit.twist_along * (t_mm - fit.t0_mm)) * further_by_out;
    const double out = out_here / (1.0 - moves * face.normal.x());
    const double y = here + moves * out + fit.bend_along * std::pow(further_by_out * out, 2);
    const double up = t_mm * face.along.y() + y * face.normal.y() + shear * out;
    const Vector2 in_section(out / std::cos(turn.rad), up);
    return Vector2(in_section.dot(face.along), in_section.dot(face.normal));
  };
  const double half = std::max(1.0, 0.5 * std::abs(fit.to_t_mm - fit.from_t_mm));
  const Vector2 p = turned(fit.t0_mm - half), q = turned(fit.t0_mm + half);
  line.b = (q.y() - p.y()) / (q.x() - p.x());
  line.a_mm = p.y() + line.b * (fit.t0_mm - p.x());
  return line;
}

SectionTop top_of(const UnrolledRim& rim, double station_mm, const FaceFit* fit, const SectionTurn& turn) {
  const Vector2 corner = rim.curve.point(station_mm), out = rim.curve.out(station_mm);
  SectionTop top;
  constexpr double reach = 10.0;  // the quadric's section is a parabola: three heights give it exactly
  const double here = rim.top.height_mm(corner.x(), corner.y());
  const auto height = [&](double out_mm) {
    const Vector2 p = corner + out_mm * out;
    return rim.top.height_mm(p.x(), p.y()) - here;
  };
  top.rise = (height(reach) - height(-reach)) / (2 * reach) + std::tan(turn.rad) * turn.rise_along;
  top.bend = (height(reach) + height(-reach)) / (reach * reach);
  top.bend_doubt = rim.top_bend;
  top.out_in_plan = out;
  if (fit != nullptr && fit->measured) {
    top.t0_mm = fit->t0_mm;
    top.a_mm = fit->a_mm;
    top.b = fit->b;
  }
  return top;
}

Vector2 rim_corner(const SectionFaces& faces) {
  // The side is steep: a few rounds of 'height of the top where the side stands' settle far below a nanometre.
  double out = 0.0;
  for (int round = 0; round < 6; ++round) {
    const double up = faces.top.up(out);
    const Vector2 direction = faces.side.direction(), anchor = faces.side.point(faces.side.t0_mm);
    out = anchor.x() + (up - anchor.y()) * direction.x() / direction.y();
  }
  return {out, faces.top.up(out)};
}

std::optional<Vector2> lower_edge(const SectionFaces& faces) {
  const Vector2 d = faces.lower_strip.direction(), e = faces.side.direction();
  const double cross = d.x() * e.y() - d.y() * e.x();
  if (std::abs(cross) < 0.05) return std::nullopt;
  const Vector2 anchor = faces.lower_strip.point(faces.lower_strip.t0_mm);
  const Vector2 between = faces.side.point(faces.side.t0_mm) - anchor;
  return Vector2(anchor + (between.x() * e.y() - between.y() * e.x()) / cross * d);
}

std::optional<Vector2> upper_edge(const SectionFaces& faces) {
  const Vector2 d = faces.upper_strip.direction();
  double t = 0.0;
  Vector2 p = faces.upper_strip.point(faces.upper_strip.t0_mm);
  for (int round = 0; round < 8; ++round) {
    const double slope = d.y() - faces.top.slope(p.x()) * d.x();
    if (std::abs(slope) < 0.05) return std::nullopt;
    t -= (p.y() - faces.top.up(p.x())) / slope;
    p = faces.upper_strip.point(faces.upper_strip.t0_mm) + t * d;
  }
  return p;
}

double bevel_angle_rad(const SectionFaces& faces) {
  return std::numbers::pi - (faces.bevel.angle_rad() - faces.side.angle_rad());
}

double length_down_side(const SectionFaces& faces, const Vector2& from, const Vector2& to) {
  return (from - to).dot(faces.side.direction());
}

double length_along_top(const SectionFaces& faces, const Vector2& from, const Vector2& to) {
  const double middle_slope = faces.top.slope(0.5 * (from.x() + to.x()));
  return (from.x() - to.x()) * std::sqrt(1.0 + middle_slope * middle_slope);
}

namespace {

struct Variances {
  double own = 0.0, reference = 0.0, shared = 0.0, form = 0.0;
};

// Sensitivities of the quantity to one face's a and b, by central differences.
std::array<double, 2> sensitivities(const SectionQuantity& quantity, const SectionFaces& faces, double SectionLine::*a,
                                    double SectionLine::*b, SectionLine SectionFaces::*face) {
  constexpr double da = 1e-3, db = 1e-4;
  SectionFaces plus = faces, minus = faces;
  (plus.*face).*a += da, (minus.*face).*a -= da;
  const double by_a = (quantity(plus) - quantity(minus)) / (2 * da);
  plus = minus = faces;
  (plus.*face).*b += db, (minus.*face).*b -= db;
  return {by_a, (quantity(plus) - quantity(minus)) / (2 * db)};
}

std::array<double, 2> top_sensitivities(const SectionQuantity& quantity, const SectionFaces& faces) {
  constexpr double da = 1e-3, db = 1e-4;
  SectionFaces plus = faces, minus = faces;
  plus.top.a_mm += da, minus.top.a_mm -= da;
  const double by_a = (quantity(plus) - quantity(minus)) / (2 * da);
  plus = minus = faces;
  plus.top.b += db, minus.top.b -= db;
  return {by_a, (quantity(plus) - quantity(minus)) / (2 * db)};
}

}  // namespace

double u_of_top_bend(const SectionQuantity& quantity, const SectionFaces& faces, const FaceFit& fit,
                     const NoiseModel& noise) {
  constexpr double change = 1e-5;  // 1/mm
  const double middle = 0.5 * (fit.from_t_mm + fit.to_t_mm), width = fit.to_t_mm - fit.from_t_mm;
  const auto bent = [&](double by) {
    SectionFaces other = faces;
    other.top.bend += by;
    other.top.b -= by * middle;
    other.top.a_mm -= by * (0.5 * (middle * middle + width * width / 12.0) + middle * (other.top.t0_mm - middle));
    return quantity(other);
  };
  const double per_bend = (bent(change) - bent(-change)) / (2 * change);
  const double bend_variance = faces.top.bend_doubt.variance_along(
      faces.top.out_in_plan, {noise.white_sigma_mm, noise.correlated_sigma_mm, noise.correlation_length_mm});
  return std::abs(per_bend) * std::sqrt(bend_variance);
}

Measured propagate(const SectionQuantity& quantity, const SectionFaces& faces, const SectionFits& fits,
                   const NoiseModel& noise, double factor) {
  constexpr double most_u = 5.0;  // mm or degrees, standard
  Measured result;
  result.value = factor * quantity(faces);
  Variances variances;
  double welch = 0.0;  // sum of u_i^4 / nu_i, GUM G.4.1
  const auto add = [&](const FaceFit& fit, const std::array<double, 2>& by, double& share) {
    const double white =
        by[0] * by[0] * fit.variance_a + by[1] * by[1] * fit.variance_b + 2 * by[0] * by[1] * fit.covariance_ab;
    const double width = std::abs(fit.to_t_mm - fit.from_t_mm);
    const double half_widths = width > 0.0 ? (fit.t0_mm - 0.5 * (fit.from_t_mm + fit.to_t_mm)) / (0.5 * width) : 0.0;
    const CorrelatedVariance shared = correlated_variance(noise, fit.window_mm, width, {half_widths, fit.bend_share});
    share += white;
    variances.shared += by[0] * by[0] * shared.of_height + by[1] * by[1] * shared.of_slope;
    welch += white * white / fit.degrees_of_freedom;
    result.points_used += static_cast<std::size_t>(fit.points);
    result.points_rejected += static_cast<std::size_t>(fit.rejected);
  };
  const auto line = [&](const FaceFit* fit, SectionLine SectionFaces::*face, double& share) {
    if (fit != nullptr) add(*fit, sensitivities(quantity, faces, &SectionLine::a_mm, &SectionLine::b, face), share);
  };
  line(fits.side, &SectionFaces::side, variances.reference);
  line(fits.bevel, &SectionFaces::bevel, variances.own);
  // A strip whose points leave its parabola by more than the noise (a hump, a hollow) does not say well where the
  // extended face would run: extending multiplies the misfit about threefold.
  const auto add_form = [&](const std::optional<FaceFit>& strip, SectionLine SectionFaces::*face) {
    constexpr double extension = 3.0;
    if (!strip) return;
    const double misfit = misfit_mm(noise, *strip);
    if (misfit <= 0.0 && strip->form_u_mm <= 0.0) return;
    const double by_a = sensitivities(quantity, faces, &SectionLine::a_mm, &SectionLine::b, face)[0];
    variances.form += std::pow(by_a * std::max(strip->form_u_mm, extension * misfit), 2);
  };
  add_form(fits.lower_strip, &SectionFaces::lower_strip);
  add_form(fits.upper_strip, &SectionFaces::upper_strip);
  line(fits.lower_strip ? &*fits.lower_strip : nullptr, &SectionFaces::lower_strip, variances.own);
  line(fits.upper_strip ? &*fits.upper_strip : nullptr, &SectionFaces::upper_strip, variances.own);
  line(fits.extra, &SectionFaces::extra, variances.own);
  if (fits.top != nullptr) {
    add(*fits.top, top_sensitivities(quantity, faces), variances.reference);
    variances.reference += std::pow(u_of_top_bend(quantity, faces, *fits.top, noise), 2);
  }
  result.u(UncertaintySource::point_noise) = factor * std::sqrt(std::max(0.0, variances.own));
  result.u(UncertaintySource::reference_faces) = factor * std::sqrt(std::max(0.0, variances.reference));
  result.u(UncertaintySource::correlated) = factor * std::sqrt(std::max(0.0, variances.shared));
  result.u(UncertaintySource::face_form) = factor * std::sqrt(variances.form);
  const double total = variances.own + variances.reference + variances.shared + variances.form;
  if (welch > 0.0) result.degrees_of_freedom = total * total / welch;
  // A fit without a hold on the quantity (a sliver of a face) gives a number that says nothing.
  if (!(factor * std::sqrt(total) < most_u))
    return Measured::not_measured(RefusalReason::not_separable,
                                  "too little of the face is seen here to hold this quantity",
                                  "scan this stretch again, from nearer");
  return result;
}

}  // namespace rimwright
