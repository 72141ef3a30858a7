// Which points of a bevel made by hand are picked, and what they carry.
#include "measure/pick_points.h"

#include <gtest/gtest.h>

#include <array>
#include <cmath>
#include <optional>

#include "measure/profile_frame.h"
#include "measured_bevel.h"

namespace rimwright {
namespace {

constexpr double length_mm = 240.0, drop_mm = 14.0, noise_mm = 0.02, density = 8.0;

void make(test::MeasuredBevel& made, const std::function<test::Profile(double)>& profile,
          const std::function<double(double, std::size_t, double)>& lift = nullptr) {
  made.rim = test::made_rim(length_mm, profile, density, noise_mm, 4, lift);
  test::measure(made, profile, length_mm, noise_mm);
}

std::vector<TargetFace> planned_targets(const test::MeasuredBevel& made) {
  return target_faces(made.rim, made.fitted, made.bevel, {radians_from_degrees(124.0), drop_mm});
}

TEST(PickPoints, HeatPointsCarryTheDeviation) {
  test::MeasuredBevel made;
  make(
      made, [](double) { return test::bevelled_profile(drop_mm, 124.0); },
      [](double s, std::size_t facet, double t) {
        return facet == 1 && s > 110 && s < 130 && t > 9 && t < 16 ? 0.3 : 0.0;
      });
  const auto targets = planned_targets(made);
  Workers workers;
  const auto points = heat_points(made.rim, made.fitted, targets, CaptureTerms{}, 100000, workers);
  ASSERT_GT(points.size(), 1000u);
  EXPECT_LE(points.size(), 100000u);
  double high = 0.0, elsewhere = 0.0, highs = 0.0, others = 0.0;
  for (const HeatPoint& p : points) {
    if (!std::isfinite(p.deviation_mm)) continue;
    const bool on = p.station_mm > 113 && p.station_mm < 127 && p.deviation_mm > 0.15F;
    if (on) high += p.deviation_mm, highs += 1;
    if (p.station_mm < 100 || p.station_mm > 140) elsewhere += p.deviation_mm, others += 1;
  }
  ASSERT_GT(highs, 50.0);
  EXPECT_NEAR(high / highs, 0.3, 0.05);
  EXPECT_NEAR(elsewhere / others, 0.0, 0.02);
  EXPECT_LE(heat_points(made.rim, made.fitted, targets, CaptureTerms{}, 500, workers).size(), 500u);
}

// The same points, found by their bands: made rims hold one band, in which every point is looked at.
UnrolledRim in_bands(UnrolledRim rim) {
  rim.band_mm = 1.0;
  rim.first_band_mm = -60.0;
  rim.band_count = 120;
  rim.band_begin.assign(rim.slice_count() * rim.band_count + 1, rim.station_mm.size());
  std::size_t k = 0;
  for (std::size_t slice = 0; slice < rim.slice_count(); ++slice)
    for (std::size_t band = 0; band < rim.band_count; ++band) {
      rim.band_begin[slice * rim.band_count + band] = k;
      const double ends_mm = rim.first_band_mm + static_cast<double>(band + 1) * rim.band_mm;
      while (k < rim.slice_begin[slice + 1] &&
             (band + 1 == rim.band_count || profile_along(rim.out_mm[k], rim.up_mm[k]) < ends_mm))
        ++k;
    }
  return rim;
}

bool is_same(float a, float b) { return a == b || (std::isnan(a) && std::isnan(b)); }

// Along a run-out, where the faces' ends and the bevel's height move within a slice.
TEST(PickPoints, LookingInBandsFindsWhatLookingAtAllFinds) {
  test::MeasuredBevel made;
  make(made,
       [](double s) { return test::bevelled_profile(s < 160.0 ? drop_mm : drop_mm - 0.15 * (s - 160.0), 124.0); });
  const auto targets = planned_targets(made);
  const UnrolledRim banded = in_bands(made.rim);
  Workers workers;
  const auto all = heat_points(made.rim, made.fitted, targets, CaptureTerms{}, 60000, workers);
  const auto found = heat_points(banded, made.fitted, targets, CaptureTerms{}, 60000, workers);
  ASSERT_GT(all.size(), 10000u);
  ASSERT_EQ(found.size(), all.size());
  for (std::size_t i = 0; i < all.size(); ++i) {
    ASSERT_EQ(found[i].at_scan_mm, all[i].at_scan_mm) << i;
    ASSERT_TRUE(is_same(found[i].deviation_mm, all[i].deviation_mm)) << i;
  }
  const auto faces = face_points(made.rim, made.fitted, targets, CaptureTerms{}, made.noise, 60000, workers);
  const auto faces_found = face_points(banded, made.fitted, targets, CaptureTerms{}, made.noise, 60000, workers);
  ASSERT_GT(faces.size(), 10000u);
  ASSERT_EQ(faces_found.size(), faces.size());
  for (std::size_t i = 0; i < faces.size(); ++i) {
    ASSERT_EQ(faces_found[i].at_scan_mm, faces[i].at_scan_mm) << i;
    ASSERT_EQ(faces_found[i].kind, faces[i].kind) << i;
    ASSERT_TRUE(is_same(faces_found[i].deviation_mm, faces[i].deviation_mm)) << i;
  }
}

// Which face a point lies on, and that 2 mm or more from the bevel's edges and 8 mm from the far ends of side and top:
// a fit keeps clear of edges and needs not all of a reference face.
std::optional<FaceKind> face_well_within(double out_mm, double up_mm) {
  const test::Profile profile = test::bevelled_profile(drop_mm, 124.0);
  constexpr std::array kinds{FaceKind::side, FaceKind::bevel, FaceKind::top};
  for (std::size_t facet = 0; facet < kinds.size(); ++facet) {
    const Vector2 from = profile[facet], along = (profile[facet + 1] - from).normalized();
    const Vector2 p = Vector2(out_mm, up_mm) - from;
    const double t = p.dot(along), y = p.dot(Vector2(along.y(), -along.x()));
    const double width = (profile[facet + 1] - from).norm();
    const double from_begin = facet == 0 ? 8.0 : 2.0, from_end = facet == 2 ? 8.0 : 2.0;
    if (t > from_begin && t < width - from_end && std::abs(y) < 8.0 * noise_mm) return kinds[facet];
  }
  return std::nullopt;
}

// A straight rim along x, which looks out towards -y, with the body's axes those of the scan. Noise alone stays within
// five of its standard deviations and 0.1 mm of a face.
TEST(PickPoints, EveryPointWellWithinAFaceIsToldByIt) {
  test::MeasuredBevel made;
  make(made, [](double) { return test::bevelled_profile(drop_mm, 124.0); });
  Workers workers;
  const auto points =
      face_points(made.rim, made.fitted, planned_targets(made), CaptureTerms{}, made.noise, 1000000, workers);
  const auto is_clear_of_ends = [](float station_mm) { return station_mm > 3.0F && station_mm < length_mm - 3.0; };
  std::array<std::size_t, 3> made_on{}, told{};
  for (std::size_t k = 0; k < made.rim.station_mm.size(); ++k)
    if (const auto kind = face_well_within(made.rim.out_mm[k], made.rim.up_mm[k]);
        kind && is_clear_of_ends(made.rim.station_mm[k]))
      ++made_on[static_cast<std::size_t>(*kind)];
  for (const FacePoint& point : points)
    if (const auto kind = face_well_within(-point.at_scan_mm.y(), point.at_scan_mm.z());
        kind && is_clear_of_ends(point.station_mm)) {
      ASSERT_EQ(point.kind, *kind);
      ++told[static_cast<std::size_t>(*kind)];
    }
  for (std::size_t kind = 0; kind < told.size(); ++kind) {
    EXPECT_GT(told[kind], 20000u);
    EXPECT_EQ(told[kind], made_on[kind]) << kind;
  }
}

}  // namespace
}  // namespace rimwright
