#include "simulate/scanner.h"

#include <gtest/gtest.h>

#include <algorithm>
#include <numeric>

#include "bodies.h"

namespace rimwright {
namespace {

ScannerSpec clean() {
  ScannerSpec spec;
  spec.normal_noise_mm = spec.sideways_noise_mm = spec.outlier_share = 0.0;
  spec.far_density_per_mm2 = spec.density_per_mm2 = 5.0;
  return spec;
}

TEST(Scanner, SameSeedSameScanForAnyNumberOfThreads) {
  BodySpec body_spec = test::plain_bevelled(120.0);
  body_spec.bevel->to_mm = 110.0;
  body_spec.bevel->start_run_out_mm = body_spec.bevel->end_run_out_mm = 30.0;
  const Body body = test::made(body_spec);
  ScannerSpec spec = clean();
  spec.normal_noise_mm = 0.04;
  Workers three(3);
  const auto alone = scan_cloud(body, spec, 7), threaded = scan_cloud(body, spec, 7, &three),
             other = scan_cloud(body, spec, 8);
  ASSERT_TRUE(alone && threaded && other);
  EXPECT_EQ(alone->cloud.x, threaded->cloud.x);
  EXPECT_EQ(alone->cloud.z, threaded->cloud.z);
  EXPECT_NE(alone->cloud.x, other->cloud.x);
}

}  // namespace
}  // namespace rimwright
