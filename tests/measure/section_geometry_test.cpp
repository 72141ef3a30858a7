// Corner, edges, lengths and angle on triangles worked out by hand; the budget against brute-force Monte Carlo (JCGM
// 101).
#include "measure/section_geometry.h"

#include <gtest/gtest.h>

#include <cmath>
#include <numbers>
#include <random>

#include "made_rim.h"

namespace rimwright {
namespace {

SectionLine line_through(const Vector2& from, const Vector2& to) {
  SectionLine line;
  line.along = (to - from).normalized();
  line.normal = Vector2(line.along.y(), -line.along.x());
  line.from_upright_rad = std::atan2(-line.along.x(), line.along.y());
  const Vector2 middle = 0.5 * (from + to);
  line.t0_mm = middle.dot(line.along);
  line.a_mm = middle.dot(line.normal);
  return line;
}

// Upright side, level top, a bevel that drops 3 and reaches 4: the 3-4-5 triangle.
SectionFaces triangle() {
  SectionFaces faces;
  faces.side = line_through({0, -30}, {0, -3});
  faces.bevel = faces.lower_strip = faces.upper_strip = line_through({0, -3}, {-4, 0});
  return faces;
}

TEST(SectionGeometry, TheThreeFourFiveTriangle) {
  const SectionFaces faces = triangle();
  EXPECT_NEAR(rim_corner(faces).norm(), 0.0, 1e-12);
  const auto lower = lower_edge(faces), upper = upper_edge(faces);
  ASSERT_TRUE(lower && upper);
  EXPECT_NEAR((*lower - Vector2(0, -3)).norm(), 0.0, 1e-12);
  EXPECT_NEAR((*upper - Vector2(-4, 0)).norm(), 0.0, 1e-9);
  EXPECT_NEAR((*upper - *lower).norm(), 5.0, 1e-9);
  EXPECT_NEAR(length_down_side(faces, {0, 0}, *lower), 3.0, 1e-12);
  EXPECT_NEAR(length_along_top(faces, {0, 0}, *upper), 4.0, 1e-9);
  // Inside the wood: 180 less the angle whose tangent is 4/3.
  EXPECT_NEAR(degrees_from_radians(bevel_angle_rad(faces)), 180.0 - degrees_from_radians(std::atan2(4.0, 3.0)), 1e-9);
}

// A plane that moves along the rim, cut by an upright section turned about the rim's corner: the line in it by solid
// geometry, point by point.
TEST(SectionGeometry, ASectionTurnedFromTheRimsWay) {
  const SectionLine across = line_through({0, -12}, {-9, 0});
  FaceFits face;
  face.along = across.along, face.normal = across.normal, face.from_upright_rad = across.from_upright_rad;
  FaceFit fit;
  fit.t0_mm = across.t0_mm, fit.a_mm = across.a_mm, fit.b = 0.02;
  fit.from_t_mm = fit.t0_mm - 5.0, fit.to_t_mm = fit.t0_mm + 5.0;
  fit.shift_along = 0.3;
  const double slope = fit.b;
  for (const double turn : {-0.05, 0.0, 0.04}) {
    const SectionLine line = line_of(face, fit, SectionTurn{.rad = turn});
    // The plane a + b (t - t0) + c s - y = 0 in (out, up, s), and the section's plane s = tan(turn) out.
    const Vector2 steepest = slope * face.along - face.normal;
    const Vector3 plane(steepest.x(), steepest.y(), fit.shift_along), section(std::tan(turn), 0.0, -1.0);
    const Vector3 way = plane.cross(section);
    const double in_section = way.x() / std::cos(turn);
    const double angle = std::atan2(-in_section, way.y());
    const double difference = std::remainder(line.angle_rad() - angle, std::numbers::pi);
    EXPECT_NEAR(difference, 0.0, 1e-9) << turn;
    // A point of it lies on the plane.
    const Vector2 p = line.point(fit.t0_mm + 2.0);
    const double out = p.x() * std::cos(turn), s = out * std::tan(turn);
    const Vector2 here(out, p.y());
    EXPECT_NEAR(fit.a_mm + slope * (here.dot(face.along) - fit.t0_mm) + fit.shift_along * s, here.dot(face.normal),
                2e-3)
        << turn;
  }
}

TEST(SectionGeometry, LeaningSideAndSlopingTop) {
  // Everything turned by 2 degrees about the origin: lengths and the angle stay.
  const Eigen::Rotation2Dd turn(radians_from_degrees(2.0));
  SectionFaces faces;
  faces.side = line_through(turn * Vector2(0, -30), turn * Vector2(0, -3));
  faces.bevel = faces.lower_strip = faces.upper_strip = line_through(turn * Vector2(0, -3), turn * Vector2(-4, 0));
  faces.top.rise = std::tan(radians_from_degrees(2.0));
  const auto lower = lower_edge(faces), upper = upper_edge(faces);
  ASSERT_TRUE(lower && upper);
  EXPECT_NEAR(rim_corner(faces).norm(), 0.0, 1e-9);
  EXPECT_NEAR(length_down_side(faces, rim_corner(faces), *lower), 3.0, 1e-9);
  EXPECT_NEAR(length_along_top(faces, rim_corner(faces), *upper), 4.0, 1e-9);
  EXPECT_NEAR(degrees_from_radians(bevel_angle_rad(faces)), 180.0 - degrees_from_radians(std::atan2(4.0, 3.0)), 1e-9);
}

// On a dome of radius r the top falls by c^2 / (2 r) towards the rim; lengths along it are arcs.
TEST(SectionGeometry, DomedTopFollowsItsArc) {
  const double r = 4500.0;
  SectionFaces faces = triangle();
  faces.top.bend = -1.0 / r;
  faces.top.rise = -200.0 / r;  // the highest point lies 200 mm inside
  const double slope = std::tan(200.0 / r);
  const double reach = length_along_top(faces, {0.0, 0.0}, {-20.0, faces.top.up(-20.0)});
  // Between slopes 200/r at the rim and 180/r at 20 mm in: arc = integral of sqrt(1 + slope^2), here by Simpson.
  const auto element = [&](double out) { return std::hypot(1.0, faces.top.rise + faces.top.bend * out); };
  const double arc = 20.0 / 6.0 * (element(0) + 4 * element(-10) + element(-20));
  // Midpoint rule: short by bend^2 w^3 / 24 = 1.65e-5 mm.
  EXPECT_NEAR(reach, arc, 2e-5);
  EXPECT_NEAR(rim_corner(faces).y(), 0.0, 1e-9);
  EXPECT_LT(std::abs(slope), 0.05);
}

TEST(SectionGeometry, ParallelFacesHaveNoEdge) {
  SectionFaces faces = triangle();
  faces.lower_strip = line_through({-1, -30}, {-1, -3});
  EXPECT_FALSE(lower_edge(faces).has_value());
}

TEST(SectionGeometry, UnitsScale) {
  SectionFaces small = triangle(), large;
  large.side = line_through({0, -300}, {0, -30});
  large.bevel = large.lower_strip = large.upper_strip = line_through({0, -30}, {-40, 0});
  EXPECT_NEAR(length_down_side(large, rim_corner(large), *lower_edge(large)),
              10.0 * length_down_side(small, rim_corner(small), *lower_edge(small)), 1e-9);
  EXPECT_NEAR(bevel_angle_rad(large), bevel_angle_rad(small), 1e-12);
}

// Linear propagation against drawing the fits themselves (JCGM 101: distributions propagated by Monte Carlo).
TEST(SectionGeometry, BudgetAgreesWithMonteCarlo) {
  SectionFaces faces;
  const double drop = 14.0, reach = drop * -std::tan(radians_from_degrees(124.0));
  faces.side = line_through({0, -45}, {0, -15});
  faces.bevel = line_through({0, -drop}, {-reach, 0});
  faces.lower_strip = line_through({0, -drop}, faces.bevel.point(faces.bevel.t0_mm));
  faces.upper_strip = line_through(faces.bevel.point(faces.bevel.t0_mm), {-reach, 0});
  faces.top.t0_mm = 38.0;
  FaceFit side, bevel, lower, upper, top;
  const auto sure = [](FaceFit& fit, double u_a, double u_b, double correlation) {
    fit.measured = true;
    fit.variance_a = u_a * u_a, fit.variance_b = u_b * u_b, fit.covariance_ab = correlation * u_a * u_b;
    fit.degrees_of_freedom = 1e6;
    fit.points = 100;
  };
  sure(side, 0.004, 0.0008, 0.3), sure(bevel, 0.005, 0.0009, 0.0), sure(lower, 0.006, 0.002, -0.4);
  sure(upper, 0.006, 0.0015, 0.5), sure(top, 0.003, 0.0006, 0.1);
  const NoiseModel no_shared_noise;
  struct Case {
    SectionQuantity quantity;
    SectionFits fits;
    double factor;
  };
  const std::vector<Case> cases{
      {[](const SectionFaces& f) { return bevel_angle_rad(f); }, {.side = &side, .bevel = &bevel}, 57.29577951},
      {[](const SectionFaces& f) { return length_down_side(f, rim_corner(f), *lower_edge(f)); },
       {.side = &side, .top = &top, .lower_strip = lower},
       1.0},
      {[](const SectionFaces& f) { return length_along_top(f, rim_corner(f), *upper_edge(f)); },
       {.side = &side, .top = &top, .upper_strip = upper},
       1.0}};
  std::mt19937 random(7);  // seed 7
  std::normal_distribution<double> unit;
  for (const Case& c : cases) {
    const Measured measured = propagate(c.quantity, faces, c.fits, no_shared_noise, c.factor);
    constexpr int draws = 20000;
    double sum = 0.0, squares = 0.0;
    for (int i = 0; i < draws; ++i) {
      SectionFaces drawn = faces;
      const auto disturb = [&](const FaceFit* fit, double& a, double& b) {
        const double first = unit(random), second = unit(random);
        if (fit == nullptr) return;
        const double u_a = std::sqrt(fit->variance_a), u_b = std::sqrt(fit->variance_b);
        const double r = fit->covariance_ab / (u_a * u_b);
        a += u_a * first;
        b += u_b * (r * first + std::sqrt(1 - r * r) * second);
      };
      disturb(c.fits.side, drawn.side.a_mm, drawn.side.b);
      disturb(c.fits.bevel, drawn.bevel.a_mm, drawn.bevel.b);
      disturb(c.fits.lower_strip ? &*c.fits.lower_strip : nullptr, drawn.lower_strip.a_mm, drawn.lower_strip.b);
      disturb(c.fits.upper_strip ? &*c.fits.upper_strip : nullptr, drawn.upper_strip.a_mm, drawn.upper_strip.b);
      disturb(c.fits.top, drawn.top.a_mm, drawn.top.b);
      const double value = c.factor * c.quantity(drawn) - measured.value;
      sum += value, squares += value * value;
    }
    const double spread = std::sqrt(squares / draws - std::pow(sum / draws, 2));
    // A standard deviation of n draws is known to 1 / sqrt(2 n): four of them, and 1 % for curvature of the quantity.
    EXPECT_NEAR(measured.combined_u() / spread, 1.0, 4 / std::sqrt(2.0 * draws) + 0.01);
    EXPECT_LT(std::abs(sum / draws), 4 * spread / std::sqrt(1.0 * draws) + 0.01 * spread);
    EXPECT_GT(measured.u(UncertaintySource::reference_faces), 0.0);
    EXPECT_GT(measured.u(UncertaintySource::point_noise), 0.0);
  }
}

// Welch-Satterthwaite, GUM G.4.1 (formula G.2b): one face with few, one with many degrees of freedom.
TEST(SectionGeometry, DegreesOfFreedomByWelchSatterthwaite) {
  const SectionFaces faces = triangle();
  FaceFit side, bevel;
  side.measured = bevel.measured = true;
  side.variance_b = 4e-6, side.degrees_of_freedom = 5;
  bevel.variance_b = 1e-6, bevel.degrees_of_freedom = 50;
  const Measured angle = propagate([](const SectionFaces& f) { return bevel_angle_rad(f); }, faces,
                                   {.side = &side, .bevel = &bevel}, NoiseModel{});
  EXPECT_NEAR(angle.combined_u(), std::sqrt(5e-6), 1e-8);
  EXPECT_NEAR(angle.degrees_of_freedom, 25e-12 / (16e-12 / 5 + 1e-12 / 50), 0.01);
}

// A top that bends otherwise than its quadric, seen between 20 and 45 mm from the corner: the line through what is seen
// is refitted, by brute force, and carried to the corner.
TEST(UOfTopBend, IsTheCornersHeightOnceTheSeenPartIsRefitted) {
  SectionFaces faces = triangle();
  FaceFit top;
  top.measured = true;
  top.from_t_mm = 20.0, top.to_t_mm = 45.0, top.t0_mm = 31.0;
  faces.top.t0_mm = top.t0_mm;
  constexpr double bend_u = 2e-4;
  faces.top.bend_doubt = {Matrix3::Zero(), 0.0, 0.0, bend_u};  // not refitted: as tops usually are
  double n = 0, t1 = 0, t2 = 0, y0 = 0, y1 = 0;
  for (double t = 20.0005; t < 45.0; t += 0.001) {
    const double y = 0.5 * bend_u * t * t;
    n += 1, t1 += t, t2 += t * t, y0 += y, y1 += t * y;
  }
  const double slope = (y1 - t1 * y0 / n) / (t2 - t1 * t1 / n);
  const double at_corner = y0 / n - slope * t1 / n;  // the parabola is 0 there
  const SectionQuantity drop = [](const SectionFaces& f) {
    return length_down_side(f, rim_corner(f), lower_edge(f).value());
  };
  EXPECT_NEAR(u_of_top_bend(drop, faces, top, NoiseModel{}), std::abs(at_corner), 1e-4 * std::abs(at_corner));
}

}  // namespace
}  // namespace rimwright
