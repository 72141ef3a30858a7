// Whole inspections of small simulated captures (a quarter of the pixels, a third of the images of depth_reach), held
// against the exact body: what is asked of both classes of camera.
#include <gtest/gtest.h>

#include "../truth/errors.h"
#include "depth_folder.h"
#include "judge/compare.h"
#include "pipelines/cloud_from_depth.h"
#include "pipelines/inspect_scan.h"
#include "plan/read_plan.h"
#include "simulate/random.h"
#include "simulate/write_scan.h"
#include "simulated_capture.h"

namespace rimwright {
namespace {

using namespace rimwright_test;

constexpr std::uint64_t seed = 11;

struct Inspected {
  Plan plan;
  Inspection inspection;
  Errors errors;
};

// share_lost of the pixels return nothing.
Inspected inspect_capture(const DepthCamera& camera, double share_lost, const std::string& folder_name) {
  Workers workers;
  BodyFile file;
  const Body body = sound_body(&file);
  auto recorded = record_capture(body, short_path(), camera, seed, workers);
  Random random(seed);
  for (auto& frame : recorded.frames)
    for (auto& count : frame)
      if (random.uniform(0.0, 1.0) < share_lost) count = 0;
  const DepthFolder folder(folder_name);
  EXPECT_TRUE(write_capture(recorded, camera, seed, folder.path()));
  Inspected result;
  result.plan = *read_plan_text(plan_yaml(body.spec(), file.plan), "plan.yaml");
  const auto cloud = cloud_from_depth(folder.path(), {}, workers);
  if (!cloud) return ADD_FAILURE() << cloud.error().sentence(), result;
  auto inspection = inspect_scan(*cloud, result.plan, {}, workers);
  if (!inspection) return ADD_FAILURE() << inspection.error().sentence(), result;
  Truth truth = truth_of(body, recorded.T_body_camera.front().inverse());
  for (TrueStation& station : truth.stations) station.at_scan_mm *= 1.0 + camera.scale_error;
  result.errors = compare_with_truth(inspection->measures, truth);
  result.inspection = std::move(*inspection);
  return result;
}

// Stations of channels with that verdict. The body is sound: none may fail.
std::size_t steps_with(Verdict verdict, const Inspected& inspected) {
  std::size_t steps = 0;
  for (const JudgedSeries& series : compare(inspected.plan, inspected.inspection.measures)) {
    if (series.kind != QuantityKind::step_width && series.kind != QuantityKind::step_depth) continue;
    for (const JudgedStation& station : series.stations) steps += station.verdict == verdict;
  }
  return steps;
}

TEST(InspectDepth, AStructuredLightCameraDecides) {
  auto inspected = inspect_capture(small_camera(structured_light_class()), 0.0, "depth_inspect_structured");
  const Summary angle = summarise(inspected.errors.by_quantity["angle"]),
                depth = summarise(inspected.errors.by_quantity["depth"]),
                width = summarise(inspected.errors.by_quantity["width"]);
  ASSERT_GT(angle.count, 150u) << "seed " << seed;
  ASSERT_GT(depth.count, 300u);
  // A third of the images of a full capture: what is asked of those, widened by sqrt 3 where noise rules.
  EXPECT_LT(angle.p95, 0.15);
  EXPECT_LT(depth.p95, 0.04 * std::sqrt(3.0));
  EXPECT_LT(width.p95, 0.06 * std::sqrt(3.0));
  for (const Summary& summary : {angle, depth, width}) EXPECT_GE(summary.covered, 0.93);
  EXPECT_GT(steps_with(Verdict::pass, inspected), 3 * steps_with(Verdict::undecided, inspected));
  EXPECT_EQ(steps_with(Verdict::fail, inspected), 0u);
}

TEST(InspectDepth, SoItDoesWhenAThirdOfThePixelsIsMissing) {
  auto inspected = inspect_capture(small_camera(structured_light_class()), 0.33, "depth_inspect_missing");
  const Summary angle = summarise(inspected.errors.by_quantity["angle"]);
  ASSERT_GT(angle.count, 150u) << "seed " << seed;
  EXPECT_LT(angle.p95, 0.15 * std::sqrt(1.5));
  EXPECT_GE(angle.covered, 0.93);
  EXPECT_EQ(steps_with(Verdict::fail, inspected), 0u);
}

TEST(InspectDepth, APhoneTellsTheAngleAndLeavesChannelsOpen) {
  auto inspected = inspect_capture(small_camera(phone_class()), 0.0, "depth_inspect_phone");
  const Summary angle = summarise(inspected.errors.by_quantity["angle"]);
  ASSERT_GT(angle.count, 100u) << "seed " << seed;
  EXPECT_LT(angle.p95, 0.8);
  EXPECT_GE(angle.covered, 0.93);
  EXPECT_EQ(steps_with(Verdict::fail, inspected), 0u);
  EXPECT_EQ(steps_with(Verdict::pass, inspected), 0u);
  EXPECT_EQ(inspected.inspection.verdict, Verdict::undecided);  // the body is sound: nothing of it may be failed
  // Its scale is half a percent off, which it does not know but allows for.
  EXPECT_GT(2.0 * inspected.inspection.scale.relative_standard_u, 0.005);
}

}  // namespace
}  // namespace rimwright
