// Photos of a simulated body, looked at by what finds targets in real ones.
#include "simulate/photo_session.h"

#include <gtest/gtest.h>
#include <unistd.h>

#include <fstream>
#include <nlohmann/json.hpp>

#include "capture/photos/find_target.h"
#include "capture/photos/read_photos.h"

namespace rimwright {
namespace {

namespace fs = std::filesystem;

BodyFile straight_body() {
  BodyFile file;
  file.body.outline.pieces = {{200.0, 0.0, 0.0}};
  file.body.top.modelled_inward_mm = 240.0;
  file.body.side.height_mm = 60.0;
  return file;
}

PhotoSessionSpec small_session() {
  PhotoSessionSpec spec;
  spec.shots.count = 6;
  spec.shots.elevations_deg = {45.0, 45.0, 60.0};  // the target is read from steeply above
  spec.shots.azimuth_span_deg = 60.0;
  spec.phone.width = 900;
  spec.phone.height = 675;
  spec.samples_per_pixel = 2;
  return spec;
}

struct Session {
  PhotoSet set;
  std::vector<std::size_t> corners;  // of the target found, by photo
  double target_up_mm = 0.0;         // of the print, above the top's highest point
};

Session session_of(const PhotoSessionSpec& spec, const std::string& name) {
  const fs::path folder = fs::path(testing::TempDir()) / (name + std::to_string(getpid()));
  Workers workers(2);
  const BodyFile file = straight_body();
  const auto body = Body::from(file.body);
  Session session;
  if (!body || !photograph_body(*body, file, spec, 5, folder, workers)) return session;
  if (auto set = read_photos(folder / "photos", {}, workers)) session.set = std::move(*set);
  for (const Photo& photo : session.set.photos) session.corners.push_back(find_target(photo, {}, {}).size());
  const auto json = nlohmann::json::parse(std::ifstream(folder / "cameras.json"));
  session.target_up_mm = json["target"]["T_body_target"][2][3];
  fs::remove_all(folder);
  return session;
}

constexpr std::size_t readable = 20;  // of 70 corners

TEST(PhotoSession, TheTargetLiesOnTheTop) {
  const Session session = session_of(small_session(), "on-top");
  ASSERT_EQ(session.corners.size(), 6u);
  for (std::size_t found : session.corners) EXPECT_GT(found, readable);
  EXPECT_NEAR(session.target_up_mm, 0.4, 1e-9);  // the sheet's thickness
  EXPECT_EQ(session.set.lens_count, 1u);
}

TEST(PhotoSession, TheTargetLiesOnTheTableBesideTheBody) {
  PhotoSessionSpec spec = small_session();
  spec.target_place = TargetPlace::beside;
  const Session session = session_of(spec, "beside");
  ASSERT_EQ(session.corners.size(), 6u);
  EXPECT_NEAR(session.target_up_mm, 0.4 - 60.0 - 20.0, 1e-3);  // a side of 60 mm on blocks of 20
  std::size_t seen = 0;
  for (std::size_t found : session.corners) seen += found > readable ? 1 : 0;
  EXPECT_GE(seen, 4u);  // it leaves some pictures at their lower edge
}

TEST(PhotoSession, TwoPhonesAndATargetThatIsThereForAThirdOfThePhotos) {
  PhotoSessionSpec spec = small_session();
  spec.phones = 2;
  spec.target_shots = 2;
  const Session session = session_of(spec, "two-phones");
  ASSERT_EQ(session.corners.size(), 6u);
  EXPECT_EQ(session.set.lens_count, 2u);
  for (std::size_t i = 0; i < 6; ++i) {
    EXPECT_EQ(session.set.photos[i].width, i % 2 == 0 ? 900 : 800) << i;
    EXPECT_EQ(session.corners[i] > readable, i % 3 == 2) << i << ": " << session.corners[i];
  }
}

}  // namespace
}  // namespace rimwright
