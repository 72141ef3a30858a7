#include "judge/align_passes.h"

#include <gtest/gtest.h>

#include "simulated_pass.h"

namespace rimwright {
namespace {

using test::bevelled_body;
using test::simulated_pass;

// Where the alignment puts points of the bevel, against where the two true poses put them.
double worst_misplacement_mm(const test::SimulatedPass& before, const test::SimulatedPass& after,
                             const PassAlignment& alignment) {
  const Transform T_before_after = before.truth.T_scan_body * after.truth.T_scan_body.inverse();
  double worst = 0.0;
  for (const FacePoint& point : after.pass.faces.points) {
    if (point.kind != FaceKind::bevel) continue;
    const Vector3 at = point.at_scan_mm.cast<double>();
    worst = std::max(worst, (alignment.to_before(at) - T_before_after * at).norm());
  }
  return worst;
}

TEST(AlignPasses, AnyTwoPosesComeTogetherOnTheUntouchedFaces) {
  BodySpec worked = bevelled_body();
  worked.defects = {test::hump(0.5, 150.0), test::hump(0.5, 210.0)};
  const auto before = simulated_pass(worked, ScannerSpec{}, 11);
  for (const unsigned seed : {21U, 22U, 23U}) {
    SCOPED_TRACE("seed " + std::to_string(seed));
    const auto after = simulated_pass(bevelled_body(), ScannerSpec{}, seed);
    const auto alignment = align_passes(before.pass, after.pass);
    ASSERT_TRUE(alignment.has_value()) << alignment.error().sentence();
    const Vector3 at = alignment->to_before(after.pass.faces.points.front().at_scan_mm.cast<double>());
    const double u_mm = alignment->u_along_mm(at, Vector3::UnitX()) + alignment->u_along_mm(at, Vector3::UnitY()) +
                        alignment->u_along_mm(at, Vector3::UnitZ());
    std::printf("misplaced at worst %.4f mm, stated u %.4f mm, rms %.4f, patches %zu\n",
                worst_misplacement_mm(before, after, *alignment), u_mm, alignment->rms_mm, alignment->patches);
    // Within four times the summed standard uncertainties anywhere on the bevel, and small in itself.
    EXPECT_LT(worst_misplacement_mm(before, after, *alignment), 4.0 * u_mm);
    EXPECT_LT(u_mm, 0.3);
  }
}

}  // namespace
}  // namespace rimwright
