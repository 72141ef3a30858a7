// The zone of the rim and how much a depth capture may show.
#include "capture/depth/rim_zone.h"

#include <gtest/gtest.h>

#include <cmath>

namespace rimwright {
namespace {

// Cells of a zone, as patches of one frame whose camera frame is the scan's; four patches make a cell.
class Cells {
 public:
  // At the middle of a cell of 10 mm.
  void add(int x, int y, int z, const Vector3& normal, int patches = 4) {
    DepthPatch patch;
    patch.point_mm = 10.0 * Vector3(x + 0.5, y + 0.5, z + 0.5);
    patch.normal = normal.normalized();
    patches_[0].insert(patches_[0].end(), static_cast<std::size_t>(patches), patch);
  }
  [[nodiscard]] Outcome<DepthRimZone> zone() const {
    Alignment alignment;
    alignment.frames.resize(1);
    alignment.frames[0].aligned = true;
    return DepthRimZone::from(patches_, alignment, {});
  }

 private:
  std::vector<std::vector<DepthPatch>> patches_{1};
};

// Six square metres in cells of 1 cm²: a top of 100 x 100 cells, one of a side beside it, and panels that lean by 45
// degrees for the rest, each of 99 x 100 cells so that the top is the largest.
TEST(DepthRimZone, SixSquareMetresAreABodyAndMoreIsARoom) {
  Cells cells;
  for (int x = 0; x < 100; ++x)
    for (int y = 0; y < 100; ++y) cells.add(x, y, 0, Vector3::UnitZ());
  cells.add(100, 50, 0, Vector3::UnitX());
  std::size_t count = 10'001;
  for (int panel = 0; count < 60'000; ++panel) {
    const double azimuth = panel * radians_from_degrees(60.0);
    for (int at = 0; at < 9'900 && count < 60'000; ++at, ++count)
      cells.add(at % 99, at / 99, 100 + panel, Vector3(std::cos(azimuth), std::sin(azimuth), 1.0));
  }
  cells.add(0, 0, 200, Vector3::UnitZ(), 3);  // three patches are a stray and count for nothing
  const auto body = cells.zone();
  ASSERT_TRUE(body) << body.error().sentence();
  EXPECT_EQ(body->cells().size(), 60'000u);
  EXPECT_NEAR(body->up().z(), 1.0, 1e-12);
  cells.add(0, 0, 200, Vector3::UnitZ(), 1);
  const auto room = cells.zone();
  ASSERT_FALSE(room);
  EXPECT_EQ(room.error().reason, RefusalReason::file_over_limit);
}

// Near the rim is what lies within 55 mm of both faces, and one cell around it.
TEST(DepthRimZone, NearTheRimIsNearBothFaces) {
  Cells cells;
  for (int x = 0; x < 30; ++x) cells.add(x, 0, 0, Vector3::UnitZ());    // top, to x = 300
  for (int z = -20; z < 0; ++z) cells.add(30, 0, z, Vector3::UnitX());  // side below its end
  const auto zone = cells.zone();
  ASSERT_TRUE(zone) << zone.error().sentence();
  // By hand: the top's last cells lie at x = 295, 285, ..., z = 5; the side's first at x = 305, z = -5. From there 55
  // mm reach top cells to 255 (50 away and 10 down: 51.0) and not 245 (60.8), and side cells to -45 (50 down and 10
  // out).
  for (const auto& cell : zone->cells()) {
    const Vector3& at = cell.centre_mm;
    EXPECT_EQ(cell.near_rim, cell.face == ZoneFace::level ? at.x() > 250.0 : at.z() > -50.0) << at.transpose();
  }
  EXPECT_TRUE(zone->near_rim({245.0, 5.0, 5.0}));  // the cell around
  EXPECT_FALSE(zone->near_rim({235.0, 5.0, 5.0}));
  EXPECT_TRUE(zone->near_rim({305.0, 5.0, -55.0}));
  EXPECT_FALSE(zone->near_rim({305.0, 5.0, -65.0}));
}

TEST(DepthRimZone, WithoutTopSideOrRimItSaysWhichIsMissing) {
  const auto reason = [](const Cells& cells) {
    const auto zone = cells.zone();
    return zone ? RefusalReason::not_seen : zone.error().reason;
  };
  Cells none, top, apart;
  EXPECT_EQ(reason(none), RefusalReason::no_top_found);
  for (int x = 0; x < 9; ++x) top.add(x, 0, 0, Vector3::UnitZ());
  EXPECT_EQ(reason(top), RefusalReason::no_side_found);
  apart = top;
  apart.add(20, 0, 0, Vector3::UnitX());  // 12 cells from the top's last
  EXPECT_EQ(reason(apart), RefusalReason::no_rim_found);
  apart.add(12, 0, 0, Vector3::UnitX());  // 40 mm
  EXPECT_EQ(reason(apart), RefusalReason::not_seen) << "a zone";
}

}  // namespace
}  // namespace rimwright
