// The whole chain on rendered photos of a straight rim, whose faces are exact planes.
#include "pipelines/cloud_from_photos.h"

#include <gmock/gmock.h>
#include <gtest/gtest.h>
#include <unistd.h>

#include <Eigen/Eigenvalues>
#include <algorithm>
#include <cmath>
#include <cstdio>
#include <fstream>
#include <nlohmann/json.hpp>

#include "simulate/photo_session.h"

namespace rimwright {
namespace {

namespace fs = std::filesystem;

constexpr double angle_deg = 124.0, drop_mm = 16.0, rim_mm = 200.0;

BodyFile straight_body() {
  BodyFile file;
  file.body.name = "straight test piece";
  file.body.outline.pieces = {{rim_mm, 0.0, 0.0}};
  file.body.top.modelled_inward_mm = 240.0;
  file.body.side.height_mm = 60.0;
  file.body.bevel = BevelSpec{.angle_deg = angle_deg,
                              .drop_mm = drop_mm,
                              .from_mm = 0.0,
                              .to_mm = rim_mm,
                              .start_run_out_mm = 20.0,
                              .end_run_out_mm = 20.0};
  return file;
}

// Half the resolution of a phone, nearer, with coarser grain: the same pixels to a grain.
PhotoSessionSpec small_session() {
  PhotoSessionSpec spec;
  spec.shots.count = 10;
  spec.shots.nearest_mm = 260.0;
  spec.shots.farthest_mm = 330.0;
  spec.shots.azimuth_span_deg = 80.0;
  spec.phone.width = 1600;
  spec.phone.height = 1200;
  spec.wood.shortest_mm = 0.75;
  spec.wood.grain = Vector3(0.8, 0.6, 0.0);
  spec.samples_per_pixel = 4;
  return spec;
}

fs::path scratch(const std::string& name) { return fs::path(testing::TempDir()) / (name + std::to_string(getpid())); }

Transform body_from_sheet(const fs::path& folder) {
  const auto json = nlohmann::json::parse(std::ifstream(folder / "cameras.json"));
  Transform T_body_target = Transform::Identity();
  for (int i = 0; i < 3; ++i) {
    for (int k = 0; k < 4; ++k)
      T_body_target(i, k) = json["target"]["T_body_target"][static_cast<std::size_t>(i)][static_cast<std::size_t>(k)];
  }
  Transform T_target_sheet = Transform::Identity();
  T_target_sheet.linear().diagonal() = Vector3(1, -1, -1);
  return T_body_target * T_target_sheet;
}

// Least-squares plane through points, with those beyond 4 robust sigmas left out.
struct Plane {
  Vector3 normal = Vector3::Zero();
  double sigma_mm = 0.0;
  std::size_t count = 0;
};
Plane fit_plane(std::vector<Vector3> points) {
  Plane plane;
  for (int round = 0; round < 4; ++round) {
    Vector3 mean = Vector3::Zero();
    for (const Vector3& p : points) mean += p / static_cast<double>(points.size());
    Matrix3 spread = Matrix3::Zero();
    for (const Vector3& p : points) spread += (p - mean) * (p - mean).transpose();
    const Eigen::SelfAdjointEigenSolver<Matrix3> eigen(spread);
    plane.normal = eigen.eigenvectors().col(0);
    std::vector<double> off;
    for (const Vector3& p : points) off.push_back(std::abs((p - mean).dot(plane.normal)));
    std::nth_element(off.begin(), off.begin() + static_cast<std::ptrdiff_t>(off.size() / 2), off.end());
    plane.sigma_mm = off[off.size() / 2] / 0.6745;
    plane.count = points.size();
    std::erase_if(points,
                  [&](const Vector3& p) { return std::abs((p - mean).dot(plane.normal)) > 4.0 * plane.sigma_mm; });
  }
  return plane;
}

// Planes through the points of each face that lie well clear of every edge (1.5 mm) and of the run-outs.
struct Faces {
  Plane side, bevel, top;
};
Faces faces_of(const Cloud& cloud, const Body& body, const Transform& T_body_sheet) {
  const double reach_mm = drop_mm * std::tan(radians_from_degrees(180.0 - angle_deg));
  std::vector<Vector3> side, bevel, top;
  for (std::size_t i = 0; i < cloud.size(); ++i) {
    const Vector3 p = T_body_sheet * cloud.point_mm(i);
    const OutlinePoint at = body.outline_at(0.0);
    const Vector2 d = p.head<2>() - at.position_mm;
    const double station = d.dot(at.along), out = d.dot(at.out), up = p.z();
    if (station < 30.0 || station > rim_mm - 30.0) continue;
    if (up < -drop_mm - 1.5) side.push_back(p);
    if (out < -1.5 && up < -1.0 && out > -reach_mm + 1.5) bevel.push_back(p);
    if (out < -reach_mm - 1.5 && up > -1.0) top.push_back(p);
  }
  return {fit_plane(side), fit_plane(bevel), fit_plane(top)};
}

TEST(CloudFromPhotos, MeasuresTheBevelOfAStraightRim) {
  const fs::path folder = scratch("straight");
  Workers workers(2);
  const BodyFile file = straight_body();
  const auto body = Body::from(file.body);
  ASSERT_TRUE(body) << body.error().sentence();
  ASSERT_TRUE(photograph_body(*body, file, small_session(), 4, folder, workers));

  PhotoSettings keeping;
  keeping.work = folder / "work";
  const auto cloud = cloud_from_photos(folder / "photos", keeping, workers);
  ASSERT_TRUE(cloud) << cloud.error().sentence();
  const Transform T_body_sheet = body_from_sheet(folder);

  const auto [side_plane, bevel_plane, top_plane] = faces_of(*cloud, *body, T_body_sheet);
  const double cosine = std::abs(side_plane.normal.dot(bevel_plane.normal));
  const double found_deg = 180.0 - degrees_from_radians(std::acos(cosine));
  const double square_deg = degrees_from_radians(std::acos(std::abs(side_plane.normal.dot(top_plane.normal))));
  std::printf("side %zu points, sigma %.4f; bevel %zu, %.4f; top %zu, %.4f; angle %.4f (true %.1f), top to side %.4f\n",
              side_plane.count, side_plane.sigma_mm, bevel_plane.count, bevel_plane.sigma_mm, top_plane.count,
              top_plane.sigma_mm, found_deg, angle_deg, square_deg);
  // One patch a square millimetre where the photos see wood: half of it must be there.
  EXPECT_GT(bevel_plane.count, 0.5 * 140.0 * 25.0);
  EXPECT_GT(side_plane.count, 0.5 * 140.0 * 20.0);
  // 0.28 mm a pixel; least squares matching is good for a tenth of it.
  EXPECT_LT(bevel_plane.sigma_mm, 0.028);
  EXPECT_LT(side_plane.sigma_mm, 0.05);
  // Camera errors are common to a face and do not average out: a tenth of a pixel (0.028 mm) across 25 mm of face.
  EXPECT_NEAR(found_deg, angle_deg, degrees_from_radians(0.028 / 25.0));
  EXPECT_NEAR(square_deg, 90.0, degrees_from_radians(0.028 / 25.0));
  // The sigma that points carry is about what they show.
  std::vector<float> sigma(cloud->sigma_mm.begin(), cloud->sigma_mm.end());
  std::nth_element(sigma.begin(), sigma.begin() + static_cast<std::ptrdiff_t>(sigma.size() / 2), sigma.end());
  EXPECT_GT(sigma[sigma.size() / 2], 0.3 * bevel_plane.sigma_mm);
  EXPECT_LT(sigma[sigma.size() / 2], 3.0 * side_plane.sigma_mm);

  // A measured check bar scales everything; the number of threads changes nothing.
  PhotoSettings with_bar;
  with_bar.print.bar_mm = 99.0;
  Workers one(1);
  const auto scaled = cloud_from_photos(folder / "photos", with_bar, one);
  ASSERT_TRUE(scaled);
  ASSERT_EQ(scaled->size(), cloud->size());
  EXPECT_DOUBLE_EQ(scaled->scale.factor, 0.99);
  EXPECT_NEAR(scaled->scale.relative_standard_u, 0.05 / 99.0, 1e-12);
  EXPECT_EQ(cloud->scale.relative_standard_u, 0.005);
  // What a print that was not measured costs is said, with what to do.
  const auto speaks_of_bar = [](const std::string& note) { return note.find("--bar") != std::string::npos; };
  EXPECT_EQ(std::count_if(cloud->notes.begin(), cloud->notes.end(), speaks_of_bar), 1);
  EXPECT_EQ(std::count_if(scaled->notes.begin(), scaled->notes.end(), speaks_of_bar), 0);
  for (std::size_t i = 0; i < cloud->size(); i += 101) {
    EXPECT_LT((scaled->point_mm(i) - 0.99 * cloud->point_mm(i)).norm(), 1e-4);
  }

  // What the first run kept gives the second the same points, without looking at a photo's features again.
  std::string said;
  keeping.progress = [&said](const std::string& words) { said += words + "\n"; };
  const auto again = cloud_from_photos(folder / "photos", keeping, workers);
  ASSERT_TRUE(again);
  EXPECT_EQ(said, "reading photos\nfinding target and features in 0 photos\ncomparing the halves\n");
  EXPECT_EQ(again->x, cloud->x);
  EXPECT_EQ(again->z, cloud->z);
  EXPECT_EQ(again->sigma_mm, cloud->sigma_mm);
  EXPECT_EQ(again->notes, cloud->notes);
  fs::remove_all(folder);
}

// Newspaper under body and target takes nearly all features (by them alone this set is refused: no side is seen); the
// wood is measured all the same.
TEST(CloudFromPhotos, MeasuresOnAFiguredTable) {
  const fs::path folder = scratch("figured");
  Workers workers(2);
  const BodyFile file = straight_body();
  const auto body = Body::from(file.body);
  PhotoSessionSpec spec = small_session();
  spec.shots.count = 8;
  spec.samples_per_pixel = 2;
  spec.table_figure = 1.0;
  spec.blocks_mm = 0.0;
  spec.target_place = TargetPlace::beside;
  ASSERT_TRUE(photograph_body(*body, file, spec, 6, folder, workers));
  const auto cloud = cloud_from_photos(folder / "photos", {}, workers);
  ASSERT_TRUE(cloud) << cloud.error().sentence();
  const Faces faces = faces_of(*cloud, *body, body_from_sheet(folder));
  const double found_deg = 180.0 - degrees_from_radians(std::acos(std::abs(faces.side.normal.dot(faces.bevel.normal))));
  std::printf("side %zu points, bevel %zu, top %zu; angle %.4f\n", faces.side.count, faces.bevel.count, faces.top.count,
              found_deg);
  // As above.
  EXPECT_GT(faces.bevel.count, 0.5 * 140.0 * 25.0);
  EXPECT_GT(faces.side.count, 0.5 * 140.0 * 20.0);
  EXPECT_NEAR(found_deg, angle_deg, degrees_from_radians(0.028 / 25.0));
  fs::remove_all(folder);
}

std::string refusal_of(const PhotoSessionSpec& spec, const std::string& name) {
  const fs::path folder = scratch(name);
  Workers workers(2);
  const BodyFile file = straight_body();
  const auto body = Body::from(file.body);
  if (!photograph_body(*body, file, spec, 3, folder, workers)) return "not photographed";
  const auto cloud = cloud_from_photos(folder / "photos", {}, workers);
  fs::remove_all(folder);
  return cloud ? "no refusal" : cloud.error().sentence();
}

TEST(CloudFromPhotos, PhotosThatCannotMeasureAreRefused) {
  PhotoSessionSpec spec = small_session();
  spec.phone.width = 800;
  spec.phone.height = 600;
  spec.shots.count = 4;
  spec.samples_per_pixel = 2;
  PhotoSessionSpec bare = spec;
  bare.target_present = false;
  EXPECT_THAT(refusal_of(bare, "bare"), testing::HasSubstr("none of the 4 photos shows the scale target"));
  PhotoSessionSpec still = spec;
  still.shots.azimuth_span_deg = 0.5;
  still.shots.elevations_deg = {50.0, 50.0, 50.0};
  still.shots.wander_deg = 0.5;
  still.from_mm = 98.0;
  still.to_mm = 102.0;
  EXPECT_THAT(refusal_of(still, "still"), testing::HasSubstr("taken from one spot"));
}

}  // namespace
}  // namespace rimwright
