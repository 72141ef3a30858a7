#include "capture/photos/cloud_of_patches.h"

#include <Eigen/Dense>
#include <algorithm>
#include <cmath>
#include <cstdio>

#include "capture/photos/patch_grid_index.h"

namespace rimwright {
namespace {

Outcome<Scale> scale_of(const ScaleTarget& target, const PrintScale& print) {
  Scale scale;
  if (print.bar_mm == 0.0) {
    scale.relative_standard_u = print.unmeasured_relative_u;
    scale.source = "printed target, its check bar not measured";
    return scale;
  }
  scale.factor = print.bar_mm / target.check_bar_mm;
  if (!(std::abs(scale.factor - 1.0) <= 0.05)) {
    std::array<char, 120> seen{};
    std::snprintf(seen.data(), seen.size(), "the check bar is said to measure %g mm, it was drawn %g mm long",
                  print.bar_mm, target.check_bar_mm);
    return refuse(RefusalReason::scale_unknown, seen.data(),
                  "measure the black bar under the board again, in millimetres, and give it with --bar");
  }
  scale.relative_standard_u = print.bar_reading_u_mm / print.bar_mm;
  std::array<char, 80> source{};
  std::snprintf(source.data(), source.size(), "printed target, bar measured %.2f mm", print.bar_mm);
  scale.source = source.data();
  return scale;
}

// How many times larger the scatter about local planes is than the patches claim: median of |residual| / sigma over
// that of a normal variable (0.6745).
double claimed_too_small_by(const std::vector<Patch>& patches, const CloudOfPatchesSettings& settings) {
  const PatchIndex index(patches, settings.neighbourhood_mm);
  std::vector<double> ratios;
  const std::size_t stride = std::max<std::size_t>(1, patches.size() / 4000);
  for (std::size_t i = 0; i < patches.size(); i += stride) {
    const Patch& patch = patches[i];
    const Vector3 across = patch.normal_sheet.cross(patch.along_sheet);
    Matrix3 a = Matrix3::Zero();
    Vector3 b = Vector3::Zero();
    std::vector<Vector3> rows;
    std::vector<double> heights;
    index.for_near(patch.at_sheet_mm, [&](std::size_t n) {
      if (n == i || patches[n].normal_sheet.dot(patch.normal_sheet) < 0.94) return;
      const Vector3 d = patches[n].at_sheet_mm - patch.at_sheet_mm;
      const Vector3 row(1.0, d.dot(patch.along_sheet), d.dot(across));
      a += row * row.transpose();
      b += row * d.dot(patch.normal_sheet);
      rows.push_back(row);
    });
    if (rows.size() < 8) continue;
    const Matrix3 inverse = a.inverse();
    if (!inverse.allFinite()) continue;
    // The plane of the neighbours at the patch's own place: its own height there is 0.
    const double residual = (inverse * b)[0];
    const double sigma = std::max(patch.sigma_mm, settings.least_sigma_mm) * std::sqrt(1.0 + inverse(0, 0));
    ratios.push_back(std::abs(residual) / sigma);
  }
  if (ratios.size() < 20) return 1.0;
  std::nth_element(ratios.begin(), ratios.begin() + static_cast<std::ptrdiff_t>(ratios.size() / 2), ratios.end());
  return std::max(1.0, ratios[ratios.size() / 2] / 0.6745);
}

}  // namespace

Outcome<Cloud> cloud_of_patches(const std::vector<Patch>& patches, const ScaleTarget& target, const PrintScale& print,
                                const CloudOfPatchesSettings& settings) {
  const auto scale = scale_of(target, print);
  if (!scale) return tl::unexpected(scale.error());
  const double inflation = claimed_too_small_by(patches, settings);
  Cloud cloud;
  cloud.scale = *scale;
  cloud.counts.points_in_file = patches.size();
  for (const Patch& patch : patches) {
    const Eigen::Vector3f p = (scale->factor * patch.at_sheet_mm).cast<float>();
    cloud.x.push_back(p.x());
    cloud.y.push_back(p.y());
    cloud.z.push_back(p.z());
    const double sigma = inflation * std::max(patch.sigma_mm, settings.least_sigma_mm) * scale->factor;
    cloud.sigma_mm.push_back(static_cast<float>(sigma));
    PointNormal normal{static_cast<std::uint32_t>(cloud.normals.size()), {}};
    for (int k = 0; k < 3; ++k) {
      normal.times_127[static_cast<std::size_t>(k)] =
          static_cast<std::int8_t>(std::lround(127.0 * patch.normal_sheet[k]));
    }
    cloud.normals.push_back(normal);
  }
  return cloud;
}

}  // namespace rimwright
