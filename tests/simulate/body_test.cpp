#include "simulate/body.h"

#include <gtest/gtest.h>

#include "bodies.h"

namespace rimwright {
namespace {

TEST(Outline, CircularPieceIsACircle) {
  auto outline = Outline::from(test::open_arc(500.0, 200.0));
  ASSERT_TRUE(outline);
  for (double s = 0.0; s <= 500.0; s += 7.3) {
    const OutlinePoint p = outline->at(s);
    // Starts at the origin heading along x, turning left about (0, 200): closed form.
    EXPECT_NEAR(p.position_mm.x(), 200.0 * std::sin(s / 200.0), 1e-9);
    EXPECT_NEAR(p.position_mm.y(), 200.0 - 200.0 * std::cos(s / 200.0), 1e-9);
    EXPECT_NEAR((p.position_mm - Vector2(0.0, 200.0)).normalized().dot(p.out), 1.0, 1e-12);
  }
}

TEST(Outline, SplineStationsAreArcLengthAndTheCurveCloses) {
  auto outline = Outline::from(test::waisted_pear());
  ASSERT_TRUE(outline);
  const double length = outline->length_mm();
  double polyline = 0.0, turned = 0.0;
  const int n = 200000;
  bool waist = false;
  for (int i = 0; i < n; ++i) {
    const OutlinePoint p = outline->at(length * i / n), q = outline->at(length * (i + 1) / n);
    polyline += (q.position_mm - p.position_mm).norm();
    turned += 0.5 * (p.curvature_per_mm + q.curvature_per_mm) * length / n;
    waist = waist || p.curvature_per_mm < 0.0;
  }
  EXPECT_NEAR(polyline, length, 1e-5);  // chords of 5 um on radii above 50 mm fall short by 4e-10 each at most
  EXPECT_NEAR(turned, 2.0 * std::numbers::pi, 1e-5);  // a closed curve turns once
  EXPECT_TRUE(waist);
  EXPECT_NEAR((outline->at(length).position_mm - outline->at(0.0).position_mm).norm(), 0.0, 1e-9);
}

TEST(Body, AngleDropAndReachFollowTheirDefinitions) {
  BodySpec spec = test::plain_bevelled();
  spec.side.lean_deg = 3.0;
  const Body body = test::made(spec);
  const Section section = body.section(200.0);
  ASSERT_TRUE(section.has_bevel);
  EXPECT_NEAR(degrees_from_radians(section.angle_rad), 124.0, 1e-10);
  EXPECT_NEAR(section.drop_mm, 16.0, 1e-12);
  // Law of sines in the triangle corner, lower edge, upper edge. The angle at the corner between side (leaning 3 deg
  // outward below) and the flat top is 93 deg.
  const double at_lower = radians_from_degrees(180.0 - 124.0), at_corner = radians_from_degrees(93.0);
  const double at_upper = std::numbers::pi - at_lower - at_corner;
  EXPECT_NEAR(section.top_reach_mm, 16.0 * std::sin(at_lower) / std::sin(at_upper), 1e-10);
  // By brute force from points of the surface itself.
  const auto pieces = section.pieces();
  ASSERT_EQ(pieces.size(), 3u);
  EXPECT_EQ(pieces[0].label.face, BodyFace::side);
  EXPECT_EQ(pieces[1].label.face, BodyFace::bevel);
  EXPECT_EQ(pieces[2].label.face, BodyFace::top);
  const Vector2 l = section.out_up(pieces[1].u_from, pieces[1].curve);
  const Vector2 u = section.out_up(pieces[1].u_to, pieces[1].curve);
  const Vector2 d = section.out_up(pieces[0].u_from, pieces[0].curve);
  EXPECT_NEAR(degrees_from_radians(std::acos((u - l).normalized().dot((d - l).normalized()))), 124.0, 1e-9);
  EXPECT_NEAR((l - section.corner).norm(), 16.0, 1e-9);
}

}  // namespace
}  // namespace rimwright
