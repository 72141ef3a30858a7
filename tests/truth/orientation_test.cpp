// Bodies of the campaign on which facets of the side, held as a tilted top, once scored better than the top itself: up
// was off by 11 degrees, and nothing said so.
#include <gtest/gtest.h>

#include <cmath>

#include "random_trial.h"
#include "rim/orient.h"

namespace rimwright {
namespace {

TEST(Orientation, FacetsOfARoundSideAreNoTop) {
  for (const std::uint64_t seed : {38u, 240u}) {
    SCOPED_TRACE("seed " + std::to_string(seed));
    const Trial trial = random_trial(seed);
    const auto body = Body::from(trial.body);
    ASSERT_TRUE(body.has_value());
    Workers workers;
    const auto scan = scan_of(trial, *body, workers);
    ASSERT_TRUE(scan.has_value());
    const auto cells = gather_cells(scan->cloud, {}, workers);
    ASSERT_TRUE(cells.has_value());
    const auto orientation = orient(*cells, {}, workers);
    ASSERT_TRUE(orientation.has_value()) << orientation.error().sentence();
    const Vector3 up = orientation->T_body_scan.linear().transpose() * Vector3::UnitZ();
    const Vector3 true_up = scan->truth.T_scan_body.linear() * Vector3::UnitZ();
    // A tilt about two axes, each of standard uncertainty tilt_u, has a Rayleigh length: below 3.4 of them in 997 of
    // 1000.
    EXPECT_GT(orientation->tilt_u_rad, 0.0);
    EXPECT_LT(orientation->tilt_u_rad, radians_from_degrees(1.0));  // a side's usual lean: more would say nothing
    EXPECT_LT(std::acos(std::min(1.0, up.dot(true_up))), 3.4 * orientation->tilt_u_rad);
  }
}

}  // namespace
}  // namespace rimwright
