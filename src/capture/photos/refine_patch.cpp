#include "capture/photos/refine_patch.h"

#include <Eigen/Dense>
#include <algorithm>
#include <cmath>
#include <limits>

#include "capture/photos/patch_samples.h"
#include "core/median.h"

namespace rimwright {
namespace {

struct Stacked {
  std::vector<std::uint16_t> photos;
  std::vector<PhotoSamples> samples;
};

// Samples every photo; photos that do not hold the patch are dropped.
void sample_all(const PhotoStack& stack, std::span<const std::uint16_t> photos, const Patch& patch,
                const PatchGrid& grid, Stacked& out) {
  out.photos.clear();
  std::size_t used = 0;
  for (std::uint16_t photo : photos) {
    if (out.samples.size() <= used) out.samples.emplace_back();
    if (!sample_patch(stack.views[photo], stack.photos[photo], patch, grid, true, out.samples[used])) continue;
    out.photos.push_back(photo);
    ++used;
  }
}

Eigen::ArrayXf mean_of(const Stacked& all) {
  Eigen::ArrayXf mean = all.samples[0].value;
  for (std::size_t k = 1; k < all.photos.size(); ++k) mean += all.samples[k].value;
  return mean / static_cast<float>(all.photos.size());
}

// Correlation of each photo with the mean of the others.
std::vector<double> correlations(const Stacked& all, const Eigen::ArrayXf& mean) {
  const auto n = static_cast<float>(all.photos.size());
  std::vector<double> r;
  for (std::size_t k = 0; k < all.photos.size(); ++k) {
    const Eigen::ArrayXf others = (mean * n - all.samples[k].value) / (n - 1.0f);
    const float spread = std::sqrt(others.square().mean());
    r.push_back(spread > 0.0f ? static_cast<double>((others * all.samples[k].value).mean() / spread) : 0.0);
  }
  return r;
}

// The Gauss-Newton step for (offset, slope along, slope across), and the standard deviation of the offset. The
// latter sums the gradient photo by photo before squaring: errors within a photo are far from independent.
struct Step {
  Vector3 by = Vector3::Zero();
  double offset_sigma_mm = 0.0;
  bool sound = false;
};

Step newton_step(const Stacked& all, const RefinePatchSettings& settings) {
  const std::size_t n = all.photos.size();
  const Eigen::ArrayXf mean = mean_of(all);
  Eigen::Array<float, Eigen::Dynamic, 3> slope_mean = all.samples[0].slope;
  for (std::size_t k = 1; k < n; ++k) slope_mean += all.samples[k].slope;
  slope_mean /= static_cast<float>(n);
  Matrix3 a = Matrix3::Zero();
  Vector3 b = Vector3::Zero();
  std::vector<Vector3> gradient(n);
  for (std::size_t k = 0; k < n; ++k) {
    const Eigen::Matrix<float, Eigen::Dynamic, 3> j = (all.samples[k].slope - slope_mean).matrix();
    const Eigen::VectorXf r = (all.samples[k].value - mean).matrix();
    a += (j.transpose() * j).cast<double>();
    gradient[k] = (j.transpose() * r).cast<double>();
    b += gradient[k];
  }
  const auto hold = [&](int parameter) {
    a.row(parameter).setZero();
    a.col(parameter).setZero();
    a(parameter, parameter) = a(0, 0);
    b[parameter] = 0.0;
  };
  if (!settings.tilt_along_free) hold(1);
  if (!settings.tilt_across_free) hold(2);
  Step step;
  const Eigen::LDLT<Matrix3> solver(a);
  if (a(0, 0) <= 0.0 || solver.info() != Eigen::Success || solver.rcond() < 1e-9) return step;
  step.by = -solver.solve(b);
  const Vector3 weights = solver.solve(Vector3::UnitX());  // row of the inverse
  double meat = 0.0;
  for (const Vector3& g : gradient) meat += std::pow(weights.dot(g), 2);
  const auto dof = static_cast<double>(n);
  step.offset_sigma_mm = std::sqrt(meat * dof / std::max(1.0, dof - 1.0));
  step.sound = step.by.allFinite();
  return step;
}

void move(Patch& patch, const Vector3& by) {
  patch.at_sheet_mm += by[0] * patch.normal_sheet;
  const Vector3 across = patch.normal_sheet.cross(patch.along_sheet);
  const Vector3 along = (patch.along_sheet + by[1] * patch.normal_sheet).normalized();
  const Vector3 tilted_across = across + by[2] * patch.normal_sheet;
  patch.normal_sheet = along.cross(tilted_across).normalized();
  patch.along_sheet = along;
}

}  // namespace

std::vector<View> shrink_views(const std::vector<View>& views, int shrink) {
  std::vector<View> small = views;
  for (View& view : small) {
    view.lens.focal_px /= shrink;
    view.lens.centre_x_px = (view.lens.centre_x_px + 0.5) / shrink - 0.5;
    view.lens.centre_y_px = (view.lens.centre_y_px + 0.5) / shrink - 0.5;
    view.width /= shrink;
    view.height /= shrink;
  }
  return small;
}

PhotoStack shrink_stack(const PhotoStack& stack, int shrink, Workers& workers) {
  PhotoStack small{shrink_views(stack.views, shrink), std::vector<SmoothPhoto>(stack.photos.size())};
  workers.for_chunks(stack.photos.size(), 1, [&](std::size_t begin, std::size_t end, std::size_t) {
    for (std::size_t i = begin; i < end; ++i) {
      if (!stack.photos[i].values.empty()) small.photos[i] = shrink_photo(stack.photos[i], shrink);
    }
  });
  return small;
}

std::vector<std::uint16_t> choose_photos(const PhotoStack& stack, const Vector3& at, const Vector3& normal,
                                         const RefinePatchSettings& settings) {
  struct Candidate {
    double worth;
    std::uint16_t photo;
    Vector3 sight;
  };
  std::vector<Candidate> candidates;
  const double least_cosine = std::cos(radians_from_degrees(settings.steepest_incidence_deg));
  for (std::size_t i = 0; i < stack.views.size(); ++i) {
    const View& view = stack.views[i];
    if (stack.photos[i].values.empty()) continue;
    const Vector3 p = view.T_camera_sheet * at;
    if (p.z() < 20.0) continue;
    const Vector2 pixel = project_camera_point(view.lens, p);
    const double margin = 4.0 + 1.5 * settings.half_along_mm * view.lens.focal_px / p.z();
    if (pixel.x() < margin || pixel.y() < margin || pixel.x() > view.width - margin ||
        pixel.y() > view.height - margin) {
      continue;
    }
    const Vector3 sight = (view.centre_sheet_mm() - at).normalized();
    const double cosine = sight.dot(normal);
    if (cosine < least_cosine) continue;
    candidates.push_back({std::sqrt(cosine) * view.lens.focal_px / p.z(), static_cast<std::uint16_t>(i), sight});
  }
  // Greedy: worth is resolution times how far the direction is from those already taken, so that the set is spread.
  std::vector<std::uint16_t> chosen;
  std::vector<double> nearest(candidates.size(), radians_from_degrees(25.0));
  const double too_near = radians_from_degrees(settings.least_angle_between_deg);
  while (chosen.size() < settings.most_photos) {
    double best = 0.0;
    std::size_t pick = candidates.size();
    for (std::size_t i = 0; i < candidates.size(); ++i) {
      if (nearest[i] < too_near) continue;
      const double worth = candidates[i].worth * std::sqrt(nearest[i]);
      if (worth > best) best = worth, pick = i;
    }
    if (pick == candidates.size()) break;
    chosen.push_back(candidates[pick].photo);
    for (std::size_t i = 0; i < candidates.size(); ++i) {
      const double angle = std::acos(std::clamp(candidates[i].sight.dot(candidates[pick].sight), -1.0, 1.0));
      nearest[i] = std::min(nearest[i], angle);
    }
  }
  return chosen;
}

PatchFate refine_patch(const PhotoStack& stack, std::span<const std::uint16_t> photos,
                       const RefinePatchSettings& settings, Patch& patch) {
  const Patch began = patch;
  std::vector<std::uint16_t> in_use(photos.begin(), photos.end());
  Stacked all;
  for (int attempt = 0; attempt < 3; ++attempt) {
    if (in_use.size() < settings.fewest_photos) return PatchFate::too_few_photos;
    const PatchGrid grid = grid_for(stack.views[in_use[0]], patch, settings);
    Step step;
    for (int round = 0; round < settings.most_rounds; ++round) {
      sample_all(stack, in_use, patch, grid, all);
      if (all.photos.size() < settings.fewest_photos) return PatchFate::too_few_photos;
      for (std::size_t k = 0; k < all.photos.size(); ++k) {
        if (all.samples[k].contrast < settings.least_contrast) return PatchFate::too_plain;
      }
      step = newton_step(all, settings);
      if (!step.sound) return PatchFate::disagrees;
      // A step beyond a pixel or so of parallax leaves the reach of the linear model.
      const double longest = 0.25;
      if (std::abs(step.by[0]) > longest) step.by *= longest / std::abs(step.by[0]);
      for (int k = 1; k < 3; ++k) step.by[k] = std::clamp(step.by[k], -0.25, 0.25);
      move(patch, step.by);
      patch.moved_mm = (patch.at_sheet_mm - began.at_sheet_mm).dot(began.normal_sheet);
      if (std::abs(patch.moved_mm) > settings.farthest_mm) return PatchFate::ran_away;
      if (patch.normal_sheet.dot(began.normal_sheet) < std::cos(radians_from_degrees(settings.farthest_tilt_deg))) {
        return PatchFate::ran_away;
      }
      if (step.by.cwiseAbs().maxCoeff() < settings.settled_mm) break;
    }
    sample_all(stack, in_use, patch, grid, all);
    if (all.photos.size() < settings.fewest_photos) return PatchFate::too_few_photos;
    const std::vector<double> r = correlations(all, mean_of(all));
    const double usual = median_of(r), least = std::max(settings.correlation_floor, usual - settings.correlation_drop);
    std::vector<std::uint16_t> agreeing;
    double sum = 0.0, contrast = std::numeric_limits<double>::max();
    for (std::size_t k = 0; k < r.size(); ++k) {
      sum += r[k];
      contrast = std::min(contrast, all.samples[k].contrast);
      if (r[k] >= least) agreeing.push_back(all.photos[k]);
    }
    if (agreeing.size() == in_use.size()) {
      patch.correlation = sum / static_cast<double>(r.size());
      patch.sigma_mm = step.offset_sigma_mm;
      patch.contrast = contrast;
      patch.half_along_mm = settings.half_along_mm;
      patch.half_across_mm = settings.half_across_mm;
      patch.photos = agreeing;
      return PatchFate::good;
    }
    in_use = agreeing;
  }
  return PatchFate::disagrees;
}

std::vector<Vector2> sight_patch(const PhotoStack& stack, const Patch& patch, const RefinePatchSettings& settings) {
  const double nan = std::numeric_limits<double>::quiet_NaN();
  std::vector<Vector2> sights(patch.photos.size(), Vector2(nan, nan));
  if (patch.photos.size() < 3) return sights;
  const PatchGrid grid = grid_for(stack.views[patch.photos[0]], patch, settings);
  Stacked all;
  sample_all(stack, patch.photos, patch, grid, all);
  if (all.photos.size() != patch.photos.size()) return sights;
  const auto n = static_cast<float>(all.photos.size());
  const Eigen::ArrayXf mean = mean_of(all);
  for (std::size_t k = 0; k < all.photos.size(); ++k) {
    const View& view = stack.views[patch.photos[k]];
    const SmoothPhoto& photo = stack.photos[patch.photos[k]];
    Eigen::ArrayXf others = (mean * n - all.samples[k].value) / (n - 1.0f);
    others /= std::sqrt(others.square().mean());
    // A shift of the picture is a shift of the patch in its own plane, seen through the local map; two parameters.
    Patch shifted = patch;
    Vector2 shift_mm = Vector2::Zero();
    const Vector3 across = patch.normal_sheet.cross(patch.along_sheet);
    PhotoSamples here, there;
    bool sound = true;
    for (int round = 0; round < 4 && sound; ++round) {
      constexpr double nudge_mm = 0.04;
      shifted.at_sheet_mm = patch.at_sheet_mm + shift_mm[0] * patch.along_sheet + shift_mm[1] * across;
      sound = sample_patch(view, photo, shifted, grid, false, here);
      Eigen::Array<float, Eigen::Dynamic, 2> j(grid.count(), 2);
      for (int axis = 0; axis < 2 && sound; ++axis) {
        Patch nudged = shifted;
        nudged.at_sheet_mm += nudge_mm * (axis == 0 ? patch.along_sheet : across);
        sound = sample_patch(view, photo, nudged, grid, false, there);
        if (sound) j.col(axis) = (there.value - here.value) / static_cast<float>(nudge_mm);
      }
      if (!sound) break;
      const Eigen::Matrix2d a = (j.matrix().transpose() * j.matrix()).cast<double>();
      const Vector2 b = (j.matrix().transpose() * (here.value - others).matrix()).cast<double>();
      const Eigen::SelfAdjointEigenSolver<Eigen::Matrix2d> eigen(a);
      // Along straight grain a shift cannot be told; such a sighting would only add noise.
      sound = eigen.eigenvalues()[0] > 0.02 * eigen.eigenvalues()[1];
      if (!sound) break;
      shift_mm -= a.ldlt().solve(b);
      sound = shift_mm.norm() < 0.5;
    }
    if (!sound) continue;
    const Vector3 seen = patch.at_sheet_mm + shift_mm[0] * patch.along_sheet + shift_mm[1] * across;
    sights[k] = project(view, seen);
  }
  return sights;
}

}  // namespace rimwright
