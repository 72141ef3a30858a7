// The rim curve against closed forms: circle, ellipse, clothoid, and brute force for the nearest point.
#include "rim/rim_curve.h"

#include <gtest/gtest.h>

#include <cmath>
#include <random>

namespace rimwright {
namespace {

constexpr double sample_mm = 0.5;

std::vector<Vector2> circle(double radius_mm, double length_mm, double spacing_mm) {
  std::vector<Vector2> points;
  for (double s = 0.0; s < length_mm; s += spacing_mm)
    points.emplace_back(radius_mm * std::cos(s / radius_mm), radius_mm * std::sin(s / radius_mm));
  return points;
}

TEST(RimCurve, ArcLengthIsThatOfTheCircleToTheSagOfTheChords) {
  for (const double radius : {80.0, 150.0, 400.0}) {
    const RimCurve curve(circle(radius, 200.0, 2.0), false, sample_mm);
    // A chord of 2 mm is shorter than its arc by c^3 / (24 r^2): 99 chords of them.
    const double shorter = 99 * 8.0 / (24 * radius * radius);
    EXPECT_NEAR(curve.length_mm(), 198.0, shorter + 1e-9) << radius;
    const double sag = 4.0 / (8 * radius);  // c^2 / (8 r)
    for (double s = 0.0; s < 198.0; s += 7.3) EXPECT_NEAR(curve.point(s).norm(), radius, sag + 1e-6) << s;
  }
}

TEST(RimCurve, BodyLiesToTheLeftAndOutPointsAway) {
  const RimCurve curve(circle(150.0, 200.0, 0.5), false, sample_mm);
  for (double s = 1.0; s < 199.0; s += 11.0) {
    const Vector2 away = curve.point(s).normalized();
    EXPECT_GT(curve.out(s).dot(away), 1.0 - 1e-6);
    EXPECT_NEAR(curve.tangent(s).norm(), 1.0, 1e-12);
    EXPECT_NEAR(curve.tangent(s).dot(curve.out(s)), 0.0, 1e-12);
  }
}

// Second differences over 2 h err by k h^2 k^2 / 12 from the curve and, with points every h, by nothing from sampling.
TEST(RimCurve, CurvatureOfACircleAndOfAWaist) {
  for (const double radius : {80.0, 150.0, 400.0}) {
    const RimCurve bulge(circle(radius, 200.0, sample_mm), false, sample_mm);
    auto points = circle(radius, 200.0, sample_mm);
    std::reverse(points.begin(), points.end());
    const RimCurve waist(points, false, sample_mm);
    const double allowed = 1.0 / radius * std::pow(sample_mm / radius, 2) + 1e-6 / radius;
    for (double s = 5.0; s < 190.0; s += 9.0) {
      EXPECT_NEAR(bulge.curvature(s), 1.0 / radius, allowed);
      EXPECT_NEAR(waist.curvature(s), -1.0 / radius, allowed);
    }
  }
}

// Curvature of an ellipse: a b / (a^2 sin^2 + b^2 cos^2)^1.5; perimeter by Ramanujan's second formula (Ramanujan 1914),
// whose relative error here is below 1e-9.
TEST(RimCurve, ClosedEllipse) {
  const double a = 200.0, b = 130.0;
  std::vector<Vector2> points;
  const int count = 4000;
  for (int i = 0; i < count; ++i) {
    const double t = 2 * std::numbers::pi * i / count;
    points.emplace_back(a * std::cos(t), b * std::sin(t));
  }
  const RimCurve curve(points, true, sample_mm);
  const double h = std::pow((a - b) / (a + b), 2);
  const double perimeter = std::numbers::pi * (a + b) * (1 + 3 * h / (10 + std::sqrt(4 - 3 * h)));
  EXPECT_NEAR(curve.length_mm(), perimeter, 1e-3);
  EXPECT_TRUE(curve.closed());
  double worst = 0.0;
  for (double s = 0.0; s < curve.length_mm(); s += 3.1) {
    const Vector2 p = curve.point(s);
    const double t = std::atan2(p.y() / b, p.x() / a);
    const double expected = a * b / std::pow(std::pow(a * std::sin(t), 2) + std::pow(b * std::cos(t), 2), 1.5);
    worst = std::max(worst, std::abs(curve.curvature(s) - expected) / expected);
  }
  // Points 0.26 mm apart are joined by chords: sag d^2/8 k; second differences over 0.5 mm see up to four times that
  // over h^2, d^2 / (2 h^2) = 14 % at worst when points and samples fall out of step.
  EXPECT_LT(worst, 0.14);
}

TEST(RimCurve, CurvatureOfAClothoidGrowsLinearly) {
  const double rate = 1.0 / (150.0 * 200.0), step = 0.01;  // curvature 1/150 after 200 mm
  std::vector<Vector2> points{{0.0, 0.0}};
  Vector2 p = Vector2::Zero();
  for (int i = 0; i < 20000; ++i) {
    const double middle = (i + 0.5) * step, heading = 0.5 * rate * middle * middle;  // midpoint rule
    p += step * Vector2(std::cos(heading), std::sin(heading));
    if ((i + 1) % 50 == 0) points.push_back(p);
  }
  const RimCurve curve(points, false, sample_mm);
  for (double s = 5.0; s < 195.0; s += 10.0) EXPECT_NEAR(curve.curvature(s), rate * s, 1e-6) << s;
}

TEST(RimCurve, FootOfThePerpendicularOnACircle) {
  const double radius = 150.0;
  const RimCurve curve(circle(radius, 300.0, sample_mm), false, sample_mm);
  const double sag = sample_mm * sample_mm / (8 * radius);
  std::mt19937 random(5);  // seed 5
  std::uniform_real_distribution<double> along(5.0, 290.0), off(-60.0, 12.0), guess(-9.0, 9.0);
  for (int i = 0; i < 300; ++i) {
    const double s = along(random), out = off(random), angle = s / radius;
    const Vector2 q = (radius + out) * Vector2(std::cos(angle), std::sin(angle));
    const auto foot = curve.foot_of(q, s + guess(random));
    EXPECT_NEAR(foot.out_mm, out, sag + 1e-6);
    // The tangent between samples is interpolated; its error, at most h^2 k^2 / 8, acts over the distance.
    EXPECT_NEAR(foot.station_mm, s, 2e-3);
  }
}

TEST(RimCurve, OpenCurvesGoOnStraightAndClosedOnesWrap) {
  const RimCurve open(circle(150.0, 200.0, 0.5), false, sample_mm);
  const double end = open.length_mm();
  EXPECT_NEAR((open.point(end + 5.0) - open.point(end) - 5.0 * open.tangent(end)).norm(), 0.0, 1e-9);
  EXPECT_NEAR((open.point(-5.0) - open.point(0.0) + 5.0 * open.tangent(0.0)).norm(), 0.0, 1e-9);
  EXPECT_EQ(open.wrapped(-5.0), -5.0);

  const RimCurve closed(circle(150.0, 2 * std::numbers::pi * 150.0 - 0.25, 0.5), true, sample_mm);
  const double length = closed.length_mm();
  for (const double s : {-3.0, 0.0, 17.0, 400.0}) {
    EXPECT_NEAR((closed.point(s) - closed.point(s + length)).norm(), 0.0, 1e-6);
    EXPECT_GE(closed.wrapped(s), 0.0);
    EXPECT_LT(closed.wrapped(s), length);
  }
  const RimCurve moved = closed.started_at(40.0);
  for (const double s : {0.0, 10.0, 500.0}) EXPECT_NEAR((moved.point(s) - closed.point(s + 40.0)).norm(), 0.0, 1e-3);
}

// The neglected third order: step^3 / 6 times the curvature's change, which on this ellipse is below 1.2e-4 / mm^2; at
// 0.45 mm, half a sample's step and the guess, 2 nm on the curve. Between samples the curvature is interpolated and,
// with points 0.3 mm apart joined by chords, wrong by up to a seventh: 0.2^2 / 2 * 0.14 / 85 = 0.03 um of out, and 0.2
// * 0.14 / 85 rad of turn over 40 mm. Coordinates up to 256 mm are floats to 0.008 um, stations up to 1049 mm to 0.03
// um; a point's and a sample's of both axes and the station's two roundings add up.
TEST(SmoothRimLocator, FindsTheFeet) {
  std::vector<Vector2> points;
  constexpr int count = 4000;
  for (int i = 0; i < count; ++i) {
    const double t = 2 * std::numbers::pi * i / count;
    points.emplace_back(200.0 * std::cos(t), 130.0 * std::sin(t));
  }
  std::mt19937 random(9);
  for (const bool closed : {true, false}) {
    const RimCurve curve(points, closed, sample_mm);
    const SmoothRimLocator locator(curve, 45.0, 20.0);
    std::uniform_real_distribution<double> place(2.0, curve.length_mm() - 2.0), away(-40.0, 15.0);
    std::vector<float> x, y, station(20000), out(20000);
    for (int i = 0; i < 20000; ++i) {
      const double s = place(random);
      const Vector2 p = curve.point(s) + away(random) * curve.out(s);
      x.push_back(static_cast<float>(p.x()));
      y.push_back(static_cast<float>(p.y()));
    }
    locator.locate(x, y, station, out);
    double worst_out = 0.0, worst_station = 0.0;
    for (std::size_t i = 0; i < x.size(); ++i) {
      const RimCurve::Foot exact = curve.foot_of({x[i], y[i]}, static_cast<double>(station[i]));
      worst_out = std::max(worst_out, std::abs(static_cast<double>(out[i]) - exact.out_mm));
      worst_station = std::max(worst_station, std::abs(static_cast<double>(station[i]) - exact.station_mm));
    }
    EXPECT_LT(worst_out, 5e-5 + 4 * 8e-6);
    EXPECT_LT(worst_station, 0.2 * 0.14 / 85 * 40 + 4 * 8e-6 + 2 * 3e-5);
  }
}

// What lies beyond reach, beside the curve or beyond the map of its surroundings, has no place; beyond the ends of an
// open curve, which goes on straight, it has one.
TEST(SmoothRimLocator, TellsWhatIsBeyondReach) {
  std::vector<Vector2> points;
  for (int i = 0; i <= 200; ++i) points.emplace_back(i * sample_mm, 0.0);
  const RimCurve curve(points, false, sample_mm);
  const SmoothRimLocator locator(curve, 30.0, 10.0);
  const double end_mm = curve.length_mm();
  // The body lies to the left of the curve's direction, so out is -y.
  const std::vector<float> x{20.0F, 20.0F, 20.0F, 20.0F, 1e6F, -3.0F, static_cast<float>(end_mm) + 3.0F},
      y{29.5F, 30.5F, -9.5F, -10.5F, 0.0F, 5.0F, 5.0F};
  std::vector<float> station(x.size()), out(x.size());
  locator.locate(x, y, station, out);
  for (const std::size_t near : {0U, 2U}) {
    EXPECT_NEAR(station[near], 20.0, 1e-4);
    EXPECT_NEAR(out[near], -y[near], 1e-4);
  }
  for (const std::size_t beyond : {1U, 3U, 4U}) EXPECT_TRUE(std::isnan(station[beyond])) << beyond;
  EXPECT_NEAR(station[5], -3.0, 1e-4);
  EXPECT_NEAR(station[6], end_mm + 3.0, 1e-4);
}

TEST(RimLocator, FindsWhatBruteForceFinds) {
  // A waist and a bulge: two arcs.
  std::vector<Vector2> points;
  Vector2 p(0.0, 0.0);
  double heading = 0.0;
  for (int i = 0; i < 800; ++i) {
    points.push_back(p);
    heading += sample_mm * (i < 400 ? 1.0 / 160.0 : -1.0 / 250.0);
    p += sample_mm * Vector2(std::cos(heading), std::sin(heading));
  }
  const RimCurve curve(points, false, sample_mm);
  const double inside = 60.0, outside = 12.0;
  const RimLocator locator(curve, inside, outside);
  std::mt19937 random(11);  // seed 11
  std::uniform_real_distribution<double> along(2.0, curve.length_mm() - 2.0), off(-70.0, 20.0);
  int found = 0;
  for (int i = 0; i < 2000; ++i) {
    const double s = along(random);
    const Vector2 q = curve.point(s) + off(random) * curve.out(s);
    double nearest = 1e9, at = 0.0;
    for (double t = 0.0; t <= curve.length_mm(); t += 0.1) {
      const double d = (curve.point(t) - q).norm();
      if (d < nearest) nearest = d, at = t;
    }
    if (at < 1.0 || at > curve.length_mm() - 1.0) continue;  // an end, not a foot
    const double out = (q - curve.point(at)).dot(curve.out(at)) > 0 ? nearest : -nearest;
    const auto foot = locator.locate(q);
    constexpr double half_step = 0.05;
    if (out < -inside - half_step || out > outside + half_step) {
      EXPECT_FALSE(foot.has_value()) << out;
    } else if (out > -inside + half_step && out < outside - half_step) {
      ASSERT_TRUE(foot.has_value()) << out;
      // Seen from brute force's nearest sample, up to half a step beside the foot.
      EXPECT_NEAR(foot->out_mm, (q - curve.point(at)).dot(curve.out(at)), 1e-3);
      // At a distance d inside a bend of curvature k, brute force's half step is stretched by 1 / (1 - k d).
      EXPECT_NEAR(foot->station_mm, at, half_step + 0.05);
      ++found;
    }
  }
  EXPECT_GT(found, 1000);
  EXPECT_FALSE(locator.locate({1e6, 1e6}).has_value());
}

}  // namespace
}  // namespace rimwright
