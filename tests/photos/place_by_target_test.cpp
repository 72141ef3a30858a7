// Cameras placed by the target alone, from corners projected by known cameras.
#include "capture/photos/place_by_target.h"

#include <gtest/gtest.h>

#include <cmath>
#include <cstdio>
#include <random>

namespace rimwright {
namespace {

constexpr double noise_px = 0.3;

struct Session {
  PhotoSet set;
  std::vector<std::vector<TargetCorner>> corners;
  double focal_px = 0.0;
};

// Photos of a 12-megapixel camera from round the board, as far away as shows it at the size a phone (26 mm) would from
// 350 mm; 0.3 pixels of noise, the median that corners of rendered photos have.
Session look_at_board(double focal_mm_35, unsigned seed) {
  constexpr int count = 12;
  Session s;
  s.focal_px = focal_mm_35 * std::hypot(4032.0, 3024.0) / std::hypot(36.0, 24.0);
  std::mt19937 dice(seed);
  std::normal_distribution<double> normal;
  const ScaleTarget target;
  const Vector3 middle(0.5 * target.width_mm(), -0.5 * target.height_mm(), 0.0);
  s.set.lens_count = 1;
  for (int i = 0; i < count; ++i) {
    const double turn = 1.9 * i / count - 0.95 + 0.05 * normal(dice), lift = 0.45 + 0.35 * (i % 3);
    const Vector3 away(std::sin(turn) * std::cos(lift), -std::cos(turn) * std::cos(lift), std::sin(lift));
    const Vector3 ahead = -away, right = ahead.cross(Vector3::UnitZ()).normalized();
    View view;
    view.T_camera_sheet.linear() << right.transpose(), ahead.cross(right).transpose(), ahead.transpose();
    const Vector3 aim = middle + 15.0 * Vector3(normal(dice), normal(dice), 0.0);
    view.T_camera_sheet.translation() = -view.T_camera_sheet.linear() * (aim + 350.0 * focal_mm_35 / 26.0 * away);
    view.lens = {s.focal_px, 2026.0, 1503.0, 0.05, -0.08, 0.0, 0.0};
    Photo photo;
    photo.width = 4032, photo.height = 3024;
    s.set.photos.push_back(photo);
    std::vector<TargetCorner>& seen = s.corners.emplace_back();
    int index = 0;
    for (const Vector3& corner : target_corners_mm(target)) {
      const Vector2 p = project(view, Vector3(corner.x(), -corner.y(), 0.0));
      if (p.x() > 0 && p.y() > 0 && p.x() < 4031 && p.y() < 3023)
        seen.push_back({index, p + noise_px * Vector2(normal(dice), normal(dice))});
      ++index;
    }
  }
  return s;
}

class PlaceByTarget : public testing::TestWithParam<double> {};

TEST_P(PlaceByTarget, FindsTheFocalLengthThatNobodyStates) {
  const unsigned seed = 5;
  std::printf("seed %u\n", seed);
  const Session s = look_at_board(GetParam(), seed);
  const auto network = place_by_target(s.set, s.corners, {}, {}, {});
  ASSERT_TRUE(network) << network.error().sentence();
  const double found = network->lenses[0].focal_px / s.focal_px;
  std::printf("%.0f mm: focal length %.5f of the true one\n", GetParam(), found);
  // The focal length is told from how the scale changes over the board's depth: some 60 mm (rms) as it is seen askew. A
  // corner lies some 375 px (rms) from the board's middle, and 12 views hold some 70 with two coordinates each. The
  // lens's other numbers take their part: three times as much for them, and three standard deviations.
  const double depth_share = 60.0 / (350.0 * GetParam() / 26.0);
  EXPECT_NEAR(found, 1.0, 3.0 * 3.0 * noise_px / 375.0 / depth_share / std::sqrt(12.0 * 70.0 * 2.0));
  for (std::size_t i = 0; i < s.set.photos.size(); ++i) EXPECT_TRUE(network->placed[i]);
}
INSTANTIATE_TEST_SUITE_P(Lenses, PlaceByTarget, testing::Values(14.0, 20.0, 26.0, 50.0, 77.0, 120.0),
                         [](const auto& lens) { return std::to_string(static_cast<int>(lens.param)) + "mm"; });

}  // namespace
}  // namespace rimwright
