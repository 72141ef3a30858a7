#include "capture/units.h"

#include <gtest/gtest.h>

#include <cmath>
#include <random>
#include <string>

namespace rimwright {
namespace {

constexpr unsigned seed = 7;

// A rectangle of the given sides, in millimetres, with so many points a square millimetre, written in a unit.
ScanFile rectangle(double length_mm, double width_mm, double density, FileUnits written_in) {
  std::mt19937 random(seed);
  const double unit = millimetres_per(written_in);
  std::uniform_real_distribution<double> along(0.0, length_mm / unit), across(0.0, width_mm / unit);
  ScanFile scan;
  const auto count = static_cast<std::size_t>(length_mm * width_mm * density);
  for (std::size_t i = 0; i < count; ++i) {
    scan.cloud.x.push_back(static_cast<float>(along(random)));
    scan.cloud.y.push_back(static_cast<float>(across(random)));
    scan.cloud.z.push_back(0.0F);
  }
  return scan;
}

Outcome<ScanFile> judged(ScanFile scan) {
  Workers workers(1);
  return to_millimetres(std::move(scan), {}, workers);
}

std::string answer_for(ScanFile scan) {
  const auto outcome = judged(std::move(scan));
  if (!outcome) return std::string(name_of(outcome.error().reason));
  return outcome->cloud.scale.source.substr(0, outcome->cloud.scale.source.find(" from"));
}

TEST(Units, JudgedFromTheSizeOfABody) {
  EXPECT_EQ(answer_for(rectangle(420, 300, 2, FileUnits::mm)), "units judged as millimetres");
  EXPECT_EQ(answer_for(rectangle(420, 300, 2, FileUnits::m)), "units judged as metres");
  EXPECT_EQ(answer_for(rectangle(150, 100, 5, FileUnits::inch)), "units judged as inches");
}

TEST(Units, ThePointDensityTellsAShortPieceInMillimetresFromABodyInCentimetres) {
  EXPECT_EQ(answer_for(rectangle(100, 60, 24, FileUnits::mm)), "units judged as millimetres");
  // As sparse as it is, the same numbers may be a body of a metre in centimetres.
  EXPECT_EQ(answer_for(rectangle(1000, 600, 2, FileUnits::cm)), "units doubtful");
}

TEST(Units, RefusedWhereTwoUnitsFitAndTheFlagIsNamed) {
  const auto outcome = judged(rectangle(400, 300, 10, FileUnits::inch));  // 15.7: inches, or a small body in cm
  ASSERT_FALSE(outcome);
  EXPECT_EQ(outcome.error().reason, RefusalReason::units_doubtful);
  EXPECT_NE(outcome.error().what.find("centimetres or inches"), std::string::npos) << outcome.error().what;
  EXPECT_NE(outcome.error().what_to_do.find("--units inch"), std::string::npos) << outcome.error().what_to_do;
  EXPECT_EQ(answer_for(rectangle(20'000, 10, 0.1, FileUnits::mm)), "units doubtful");
  EXPECT_EQ(answer_for(rectangle(2, 1, 1000, FileUnits::m)), "units doubtful");
}

TEST(Units, PointsThatAreNotFiniteDoNotDecide) {
  ScanFile scan = rectangle(100, 60, 24, FileUnits::mm);  // small enough that the density is asked
  for (std::size_t i = 0; i < scan.cloud.size(); i += 10) scan.cloud.x[i] = std::nanf("");
  for (std::size_t i = 5; i < scan.cloud.size(); i += 10) scan.cloud.z[i] = INFINITY;
  EXPECT_EQ(answer_for(std::move(scan)), "units judged as millimetres");
}

TEST(Units, StraysDoNotDecide) {
  ScanFile scan = rectangle(420, 300, 2, FileUnits::mm);
  for (int i = 0; i < 100; ++i) {
    scan.cloud.x.push_back(1e5F * static_cast<float>(i));
    scan.cloud.y.push_back(-3e6F);
    scan.cloud.z.push_back(1e7F);
  }
  EXPECT_EQ(answer_for(std::move(scan)), "units judged as millimetres");
}

TEST(Units, GivenUnitsScaleEveryLength) {
  ScanFile scan = rectangle(420, 300, 0.5, FileUnits::inch);
  scan.cloud.origin_mm = Vector3(100, -50, 3);
  scan.cloud.sigma_mm.assign(scan.cloud.size(), 0.001F);
  const Vector3 first = scan.cloud.point_mm(0);
  Workers workers(2);
  UnitsSettings settings;
  settings.units = FileUnits::inch;
  settings.relative_standard_u = 2e-4;
  settings.warp_mm = 0.05;
  const auto outcome = to_millimetres(std::move(scan), settings, workers);
  ASSERT_TRUE(outcome) << outcome.error().sentence();
  EXPECT_NEAR((outcome->cloud.point_mm(0) - 25.4 * first).norm(), 0.0, 1e-4);
  EXPECT_NEAR(outcome->cloud.sigma_mm[0], 0.0254, 1e-8);
  EXPECT_EQ(outcome->cloud.scale.factor, 25.4);
  EXPECT_EQ(outcome->cloud.scale.relative_standard_u, 2e-4);
  EXPECT_EQ(outcome->cloud.capture_error.warp_mm, 0.05);
  EXPECT_EQ(outcome->cloud.capture_error.warp_length_mm, 250.0);
  EXPECT_EQ(outcome->cloud.scale.source, "units given as inches");
}

TEST(Units, NothingToJudge) {
  ScanFile one_place;
  ScanFile not_finite;
  for (int i = 0; i < 10; ++i) {
    for (auto* scan : {&one_place, &not_finite}) {
      const float value = scan == &one_place ? 1.0F : std::nanf("");
      scan->cloud.x.push_back(value);
      scan->cloud.y.push_back(value);
      scan->cloud.z.push_back(value);
    }
  }
  EXPECT_EQ(answer_for(std::move(one_place)), "shape degenerate");
  EXPECT_EQ(answer_for(std::move(not_finite)), "too few points");
}

}  // namespace
}  // namespace rimwright
