#include "capture/photos/compare_halves.h"

#include <algorithm>
#include <array>
#include <cmath>
#include <limits>

#include "capture/photos/patch_grid_index.h"

namespace rimwright {
namespace {

constexpr std::array<double, 7> lag_edges_mm{0.0, 2.0, 4.0, 6.0, 9.0, 14.0, 20.0};

double robust_sigma(std::vector<double> values) {
  for (double& v : values) v = std::abs(v);
  std::nth_element(values.begin(), values.begin() + static_cast<std::ptrdiff_t>(values.size() / 2), values.end());
  return values[values.size() / 2] / 0.6745;
}

// The offset between the surface by even and by odd photos at one patch; NaN where a half sees too little.
double difference_at(const PhotoStack& stack, const Patch& patch, const RefinePatchSettings& refine) {
  std::array<Patch, 2> half{patch, patch};
  for (std::size_t k = 0; k < 2; ++k) {
    std::vector<std::uint16_t> photos;
    std::copy_if(patch.photos.begin(), patch.photos.end(), std::back_inserter(photos),
                 [&](std::uint16_t photo) { return photo % 2 == k; });
    if (photos.size() < refine.fewest_photos || refine_patch(stack, photos, refine, half[k]) != PatchFate::good) {
      return std::numeric_limits<double>::quiet_NaN();
    }
  }
  return (half[0].at_sheet_mm - half[1].at_sheet_mm).dot(patch.normal_sheet);
}

}  // namespace

HalvesReport compare_halves(const PhotoStack& stack, const std::vector<Patch>& patches,
                            const CompareHalvesSettings& settings, Workers& workers) {
  const std::size_t stride = std::max<std::size_t>(1, patches.size() / settings.most_patches);
  const std::size_t count = (patches.size() + stride - 1) / stride;
  std::vector<double> all(count);
  workers.for_chunks(count, 16, [&](std::size_t begin, std::size_t end, std::size_t) {
    for (std::size_t i = begin; i < end; ++i) all[i] = difference_at(stack, patches[i * stride], settings.refine);
  });
  std::vector<Patch> compared;
  std::vector<double> difference;
  for (std::size_t i = 0; i < count; ++i) {
    if (!std::isfinite(all[i])) continue;
    compared.push_back(patches[i * stride]);
    difference.push_back(all[i]);
  }
  HalvesReport report;
  report.compared = compared.size();
  if (compared.size() < 100) return report;
  const double sigma = robust_sigma(difference);
  for (double& d : difference) d = std::clamp(d, -4.0 * sigma, 4.0 * sigma);  // false matches are not camera error

  std::array<double, lag_edges_mm.size() - 1> covariance{}, pairs{};
  const PatchIndex index(compared, lag_edges_mm.back());
  const double same = std::cos(radians_from_degrees(settings.same_face_deg));
  for (std::size_t i = 0; i < compared.size(); ++i) {
    index.for_near(compared[i].at_sheet_mm, [&](std::size_t n) {
      if (n <= i || compared[n].normal_sheet.dot(compared[i].normal_sheet) < same) return;
      const double lag = (compared[n].at_sheet_mm - compared[i].at_sheet_mm).norm();
      const auto bin = static_cast<std::size_t>(std::upper_bound(lag_edges_mm.begin(), lag_edges_mm.end(), lag) -
                                                lag_edges_mm.begin() - 1);
      if (bin >= covariance.size()) return;
      covariance[bin] += difference[i] * difference[n];
      pairs[bin] += 1.0;
    });
  }
  for (std::size_t k = 0; k < covariance.size(); ++k) covariance[k] = pairs[k] > 0.0 ? covariance[k] / pairs[k] : 0.0;
  // The length over which covariance falls by e, from the integral of its positive part; the variance from the bins.
  const double start = std::max(0.0, std::max(covariance[0], covariance[1]));
  if (start > 0.0) {
    double integral = 0.0;
    for (std::size_t k = 0; k < covariance.size(); ++k) {
      if (covariance[k] <= 0.0) break;
      integral += covariance[k] * (lag_edges_mm[k + 1] - lag_edges_mm[k]);
    }
    report.error.correlation_length_mm = std::clamp(integral / start, 2.0, 40.0);
    report.error.correlated_sigma_mm = 0.5 * std::sqrt(start);
  }
  report.white_sigma_mm = 0.5 * std::sqrt(std::max(0.0, sigma * sigma - start));
  return report;
}

}  // namespace rimwright
