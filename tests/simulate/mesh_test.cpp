#include "simulate/mesh.h"

#include <gtest/gtest.h>

#include "bodies.h"

namespace rimwright {
namespace {

TEST(Mesh, FacesMeetAtTheBevelAngle) {
  const Body body = test::made(test::plain_bevelled(300.0, 0.0));  // straight rim: facets are planes
  MeshSettings settings;
  settings.from_mm = 140.0;
  settings.to_mm = 160.0;
  const BodyMesh mesh = mesh_body(body, settings);
  ASSERT_EQ(mesh.triangles.size(), mesh.labels.size());
  Vector3 side = Vector3::Zero(), bevel = Vector3::Zero();
  for (std::size_t i = 0; i < mesh.triangles.size(); ++i) {
    const auto& t = mesh.triangles[i];
    const Vector3 a = mesh.vertices[t[0]].cast<double>(), b = mesh.vertices[t[1]].cast<double>(),
                  c = mesh.vertices[t[2]].cast<double>();
    const Vector3 n = (b - a).cross(c - a);
    if (mesh.labels[i].face == BodyFace::side) side += n;
    if (mesh.labels[i].face == BodyFace::bevel) bevel += n;
  }
  // The angle inside the wood and the angle between outward normals add to 180 deg. Vertices are floats: 1e-5 mm
  // over 20 mm.
  const double between = degrees_from_radians(std::acos(side.normalized().dot(bevel.normalized())));
  EXPECT_NEAR(180.0 - between, 124.0, 1e-3);
  EXPECT_GT(side.dot(Vector3(0, -1, 0)), 0.0);  // outward: right of the rim's direction (x)
  EXPECT_GT(bevel.z(), 0.0);
}

// How far a point near the surface is from it: the section through the point is found by projecting on the outline.
double distance_from_surface(const Body& body, Vector3 p, double station_guess) {
  p = body.mirrored(p);
  double s = station_guess;
  for (int i = 0; i < 20; ++i) {
    const OutlinePoint o = body.outline_at(s);
    const Vector2 away = p.head<2>() - o.position_mm;
    s += away.dot(o.along) / (1.0 + o.curvature_per_mm * away.dot(o.out));
  }
  const Section section = body.section(s);
  const Vector2 uh = uh_from_out_up({(p.head<2>() - section.position_mm).dot(section.out), p.z()});
  std::size_t curve = 0;
  const double above = uh.y() - section.height(uh.x(), &curve);
  // Square to the face. Beside a crease the nearer face counts.
  double nearest = std::abs(above) / std::hypot(1.0, section.curves[curve].slope(uh.x()));
  for (const SectionCurve& c : section.curves) {
    if (c.covers(uh.x())) {
      nearest = std::min(nearest, std::abs(uh.y() - c.height(uh.x())) / std::hypot(1.0, c.slope(uh.x())));
    }
  }
  return nearest;
}

TEST(Mesh, StaysWithinTwoMicrometresOfTheTrueSurface) {
  for (const bool left_handed : {false, true}) {
    BodySpec spec = test::rich();
    spec.left_handed = left_handed;
    const Body body = test::made(spec);
    const BodyMesh mesh = mesh_body(body);
    double worst = 0.0, worst_station = 0.0;
    std::size_t inward = 0;
    for (std::size_t i = 0; i < mesh.triangles.size(); i += 3) {
      const auto& t = mesh.triangles[i];
      const Vector3 a = mesh.vertices[t[0]].cast<double>(), b = mesh.vertices[t[1]].cast<double>(),
                    c = mesh.vertices[t[2]].cast<double>();
      const Vector3 n = (b - a).cross(c - a);
      const double station = mesh.station_mm[t[0]];
      const OutlinePoint o = body.outline_at(station);
      const Vector3 to_air = body.mirrored(Vector3(o.out.x(), o.out.y(), 1.0));
      // Slivers in the gaps where a face begins (0.001 mm wide) may turn either way.
      if (n.norm() > 3e-4 && n.dot(to_air) < 0.0) ++inward;
      for (const Vector3& p : {Vector3((a + b + c) / 3.0), Vector3(0.5 * (a + b)), Vector3(0.5 * (a + c))}) {
        const double d = distance_from_surface(body, p, station);
        if (d > worst) {
          worst = d;
          worst_station = station;
        }
      }
    }
    EXPECT_LT(worst, 0.002) << "at station " << worst_station;
    EXPECT_EQ(inward, 0u);
  }
}

}  // namespace
}  // namespace rimwright
